"""What is said about runs and claims: remarks, concerns, statements; photographs, live tests."""

from datetime import date, datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from server.model.people import ConcernKind, ConcernState, PhotoState, StatementKind
from server.store.tables.metadata import JsonDict, Key, PublicId, Table, one_of


class RemarkRow(Table):
    """What a maintainer asks to have corrected, tied to the field it concerns."""

    __tablename__ = "remark"

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    run_id: Mapped[int] = mapped_column(ForeignKey("run.id"), index=True)
    run_revision_id: Mapped[int] = mapped_column(ForeignKey("run_revision.id"), index=True)
    field: Mapped[str]
    text_id: Mapped[int] = mapped_column(ForeignKey("person_text.id"))
    by_id: Mapped[int] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]


class ConcernRow(Table):
    """A problem reported, a return contested, a complaint, a wish; with or without an account.

    `not_for_id`: the maintainer who may not decide on it. `contact_id`: where an answer may go,
    kept as erasable text.
    """

    __tablename__ = "concern"
    __table_args__ = (
        CheckConstraint(one_of("kind", ConcernKind), name="kind_known"),
        CheckConstraint(one_of("state", ConcernState), name="state_known"),
        Index("ix_concern_queue", "state", "created_at", "id"),
        Index("ix_concern_of_run", "run_id", "id"),
        Index("ix_concern_of_appliance", "appliance_id", "id"),
    )

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    kind: Mapped[str]
    state: Mapped[str]
    appliance_id: Mapped[int | None] = mapped_column(ForeignKey("appliance.id"))
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"))
    claim_id: Mapped[int | None] = mapped_column(ForeignKey("claim.id"), index=True)
    figure: Mapped[str | None]
    text_id: Mapped[int] = mapped_column(ForeignKey("person_text.id"))
    contact_id: Mapped[int | None] = mapped_column(ForeignKey("person_text.id"))
    by_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"), index=True)
    not_for_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    assigned_to_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    assigned_at: Mapped[datetime | None]
    answer_id: Mapped[int | None] = mapped_column(ForeignKey("person_text.id"))
    decided_by_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]
    decided_at: Mapped[datetime | None]
    version: Mapped[int]


class StatementRow(Table):
    """What a maker says of a claim, or a tester's note of what a maker answered."""

    __tablename__ = "statement"
    __table_args__ = (CheckConstraint(one_of("kind", StatementKind), name="kind_known"),)

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    claim_id: Mapped[int] = mapped_column(ForeignKey("claim.id"), index=True)
    kind: Mapped[str]
    text_id: Mapped[int] = mapped_column(ForeignKey("person_text.id"))
    source: Mapped[str]
    stated_on: Mapped[date]
    by_id: Mapped[int] = mapped_column(ForeignKey("tester.id"))
    created_at: Mapped[datetime]
    removed_at: Mapped[datetime | None]
    reason_id: Mapped[int | None] = mapped_column(ForeignKey("person_text.id"))
    # When a maintainer saw it on the desk.
    looked_at: Mapped[datetime | None]


class PhotoRow(Table):
    """A photograph of a plate or a rig. What was sent goes once it is re-encoded."""

    __tablename__ = "photo"
    __table_args__ = (
        CheckConstraint(one_of("state", PhotoState), name="state_known"),
        CheckConstraint("subject IN ('plate', 'rig')", name="subject_known"),
    )

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    subject: Mapped[str]
    draft_id: Mapped[int | None] = mapped_column(
        ForeignKey("draft.id", ondelete="SET NULL"), index=True
    )
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
    state: Mapped[str]
    failure: Mapped[str | None]
    sent_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_file.sha256"), index=True)
    file_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_file.sha256"), index=True)
    small_sha256: Mapped[str | None] = mapped_column(ForeignKey("stored_file.sha256"), index=True)
    # Rectangles painted over: serial numbers, faces. {"covers": [[left, top, right, bottom]]}
    choices: Mapped[JsonDict]
    width: Mapped[int | None]
    height: Mapped[int | None]
    created_at: Mapped[datetime]


class PartialUploadRow(Table):
    """A file on its way in pieces; what arrived lies under its temporary name.

    One for a run waits, whole, until that is sent; `file_sha256` names the file it has become.
    """

    __tablename__ = "partial_upload"
    __table_args__ = (CheckConstraint("n_received <= n_bytes", name="not_over_its_length"),)

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    file_name: Mapped[str]
    n_bytes: Mapped[int]
    n_received: Mapped[int]
    is_for_run: Mapped[bool] = mapped_column(server_default="0")
    file_sha256: Mapped[str | None]
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime] = mapped_column(index=True)


class LiveTestRow(Table):
    """A test that others may watch while it goes on, at an address nobody can guess."""

    __tablename__ = "live_test"

    id: Mapped[Key]
    address: Mapped[str] = mapped_column(unique=True)
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"), index=True)
    title: Mapped[str | None]
    content: Mapped[JsonDict]
    n_updates: Mapped[int]
    started_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    ended_at: Mapped[datetime | None]
    expires_at: Mapped[datetime] = mapped_column(index=True)
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
