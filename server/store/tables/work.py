"""Work to be done, drafts of uploads, and the journal with its seals."""

from datetime import datetime

from sqlalchemy import CheckConstraint, ForeignKey, Index
from sqlalchemy.orm import Mapped, mapped_column

from server.model.words import JobState
from server.store.tables.metadata import JsonDict, Key, PublicId, Table, one_of


class JobRow(Table):
    """Work that a committed change needs. This row is the truth: state, lease and tries."""

    __tablename__ = "job"
    __table_args__ = (
        CheckConstraint(one_of("state", JobState), name="state_known"),
        CheckConstraint("tries >= 0", name="tries_not_negative"),
        Index("ix_job_next", "state", "id"),
    )

    id: Mapped[Key]
    act: Mapped[str]
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)
    photo_id: Mapped[int | None] = mapped_column(ForeignKey("photo.id"), index=True)
    state: Mapped[str]
    tries: Mapped[int]
    leased_by: Mapped[str | None]
    lease_until: Mapped[datetime | None]
    error: Mapped[str | None]
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]


class DraftRow(Table):
    __tablename__ = "draft"
    __table_args__ = (Index("ix_draft_of_tester", "tester_id", "updated_at"),)

    id: Mapped[Key]
    public_id: Mapped[PublicId]
    tester_id: Mapped[int] = mapped_column(ForeignKey("tester.id"))
    file_sha256: Mapped[str] = mapped_column(ForeignKey("stored_file.sha256"), index=True)
    file_name: Mapped[str]
    form: Mapped[JsonDict]
    created_at: Mapped[datetime]
    updated_at: Mapped[datetime]
    # A draft that will be a new revision of this run.
    run_id: Mapped[int | None] = mapped_column(ForeignKey("run.id"), index=True)


class AuditEventRow(Table):
    """The journal: append-only, written with the change itself. People by id, never by name.

    `note_digest`: SHA-256 of the note's salt and text, which are kept apart and can be erased.
    """

    __tablename__ = "audit_event"
    __table_args__ = (
        CheckConstraint("actor IN ('tester', 'reader', 'system', 'operator')", name="actor_known"),
        CheckConstraint("(actor = 'tester') = (tester_id IS NOT NULL)", name="tester_named"),
        Index("ix_audit_event_subject", "subject_kind", "subject_id", "id"),
    )

    id: Mapped[Key]
    at: Mapped[datetime]
    actor: Mapped[str]
    tester_id: Mapped[int | None] = mapped_column(ForeignKey("tester.id"), index=True)
    subject_kind: Mapped[str]
    subject_id: Mapped[int]
    act: Mapped[str]
    before: Mapped[JsonDict | None]
    after: Mapped[JsonDict | None]
    note_id: Mapped[int | None] = mapped_column(ForeignKey("person_text.id"), index=True)
    note_digest: Mapped[str | None]


class AuditSealRow(Table):
    """One link of the hash chain over the journal, put on by the worker in the order of commits."""

    __tablename__ = "audit_seal"

    id: Mapped[Key]
    event_id: Mapped[int] = mapped_column(ForeignKey("audit_event.id"), unique=True)
    previous_digest: Mapped[str]
    digest: Mapped[str] = mapped_column(unique=True)
    sealed_at: Mapped[datetime]


class AuditHeadRow(Table):
    """The chain's newest digest as it was signed and published on a day."""

    __tablename__ = "audit_head"

    id: Mapped[Key]
    seal_id: Mapped[int] = mapped_column(ForeignKey("audit_seal.id"), unique=True)
    digest: Mapped[str]
    n_seals: Mapped[int]
    signed_at: Mapped[datetime]
    key_id: Mapped[str]
    signature: Mapped[str]
