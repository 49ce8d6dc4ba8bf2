"""Photographs, and who may see them."""

from dataclasses import dataclass

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.people import PhotoState
from server.model.views import Tester
from server.store import tables as t
from server.store.runs import visible


@dataclass(frozen=True, slots=True)
class Photo:
    public_id: str
    subject: str
    state: PhotoState
    failure: str | None
    width: int
    height: int
    file_sha256: str | None
    small_sha256: str | None
    is_public: bool


def photos_of_draft(session: Session, *, draft_id: str, tester: Tester) -> tuple[Photo, ...]:
    """The photographs of one's draft, in the order they were sent."""
    own = (t.DraftRow.public_id == draft_id, t.PhotoRow.tester_id == tester.id)
    rows = session.execute(
        select(t.PhotoRow).join(t.DraftRow, t.DraftRow.id == t.PhotoRow.draft_id)
        .where(*own).order_by(t.PhotoRow.id)
    ).scalars()  # fmt: skip
    return tuple(_photo(row, is_public=False) for row in rows)


def photos_of_run(session: Session, *, run_id: str) -> tuple[Photo, ...]:
    """The photographs of a run (public id) that can be shown; whether it can is the caller's."""
    rows = session.execute(
        select(t.PhotoRow).join(t.RunRow, t.RunRow.id == t.PhotoRow.run_id)
        .where(t.RunRow.public_id == run_id, t.PhotoRow.state == PhotoState.READY)
        .order_by(t.PhotoRow.id)
    ).scalars()  # fmt: skip
    return tuple(_photo(row, is_public=True) for row in rows)


def photo_view(session: Session, *, public_id: str, viewer: Tester | None) -> Photo:
    """A photograph that the viewer may see: of their own draft, or of a run they may see.

    Raises NotFound, also for one that is not drawn yet.
    """
    photo, run = t.PhotoRow, t.RunRow
    seen: list[ColumnElement[bool]] = [and_(run.id.is_not(None), visible(viewer))]
    if viewer is not None:
        seen.append(photo.tester_id == viewer.id)
    row = session.execute(
        select(photo, run.state)
        .outerjoin(run, run.id == photo.run_id)
        .where(photo.public_id == public_id, photo.file_sha256.is_not(None), or_(*seen))
    ).first()
    if row is None:
        raise NotFound(f"There is no photograph {public_id}.")
    return _photo(row[0], is_public=row[1] == "published")


def _photo(row: t.PhotoRow, *, is_public: bool) -> Photo:
    return Photo(
        public_id=row.public_id,
        subject=row.subject,
        state=PhotoState(row.state),
        failure=row.failure,
        width=row.width or 0,
        height=row.height or 0,
        file_sha256=row.file_sha256,
        small_sha256=row.small_sha256,
        is_public=is_public,
    )
