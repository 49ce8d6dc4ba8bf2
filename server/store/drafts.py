"""Drafts: uploads on their way, seen by their sender only."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import AlreadySent, NotFound
from server.model.views import DraftView, StoredFile, Tester
from server.store import tables as t


def list_drafts(session: Session, *, tester: Tester) -> tuple[DraftView, ...]:
    """A tester's drafts, the one last touched first."""
    rows = session.execute(
        select(t.DraftRow, t.StoredFileRow.n_bytes, t.RunRow.public_id)
        .join(t.StoredFileRow, t.StoredFileRow.sha256 == t.DraftRow.file_sha256)
        .outerjoin(t.RunRow, t.RunRow.id == t.DraftRow.run_id)
        .where(t.DraftRow.tester_id == tester.id)
        .order_by(t.DraftRow.updated_at.desc(), t.DraftRow.id.desc())
        .limit(200)
    )
    return tuple(_view(row, n_bytes, run_id) for row, n_bytes, run_id in rows)


def draft_view(session: Session, *, public_id: str, tester: Tester) -> DraftView:
    """One of the tester's own drafts. Raises NotFound, for another's too."""
    row = draft_row(session, public_id=public_id, tester=tester)
    n_bytes = session.get_one(t.StoredFileRow, row.file_sha256).n_bytes
    run_id = session.get_one(t.RunRow, row.run_id).public_id if row.run_id is not None else None
    return _view(row, n_bytes, run_id)


def key_of_draft(public_id: str) -> str:
    """The idempotency key under which a draft becomes a run: once, however often it is sent."""
    return f"draft:{public_id}"


def draft_row(session: Session, *, public_id: str, tester: Tester) -> t.DraftRow:
    """Raises NotFound; AlreadySent, which is one, where the draft has become a run."""
    row = session.execute(
        select(t.DraftRow).where(
            t.DraftRow.public_id == public_id, t.DraftRow.tester_id == tester.id
        )
    ).scalar_one_or_none()
    if row is None:
        _check_sent(session, public_id=public_id, tester=tester)
        raise NotFound(
            f"There is no draft {public_id} of yours: it was sent or thrown away. What you sent"
            " stands on the page My bench."
        )
    return row


def _check_sent(session: Session, *, public_id: str, tester: Tester) -> None:
    run_id = session.execute(
        select(t.RunRow.public_id).where(
            t.RunRow.tester_id == tester.id,
            t.RunRow.idempotency_key == key_of_draft(public_id),
        )
    ).scalar_one_or_none()
    if run_id is not None:
        raise AlreadySent(public_id, run_id)


def _view(row: t.DraftRow, n_bytes: int, run_id: str | None) -> DraftView:
    return DraftView(
        public_id=row.public_id,
        file=StoredFile(row.file_sha256, row.file_name, n_bytes),
        form=row.form,
        created_at=row.created_at,
        updated_at=row.updated_at,
        run_id=run_id,
    )
