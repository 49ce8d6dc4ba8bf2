"""Throw a draft away."""

from datetime import timedelta

from sqlalchemy import delete
from sqlalchemy.orm import Session

from server.model.views import Tester
from server.store.drafts import draft_row
from server.store.journal import now
from server.store.tables import DraftRow

KEPT_DAYS = 30


def discard_draft(session: Session, *, draft_id: str, tester: Tester) -> None:
    """Remove one's draft. Its file and photographs are swept later, if nothing else refers to it.

    Raises
    ------
    NotFound: no such draft of this tester.
    """
    session.delete(draft_row(session, public_id=draft_id, tester=tester))


def discard_old_drafts(session: Session) -> int:
    """Remove drafts that nobody touched for KEPT_DAYS; how many."""
    old = now() - timedelta(days=KEPT_DAYS)
    gone = session.execute(delete(DraftRow).where(DraftRow.updated_at < old).returning(DraftRow.id))
    return len(gone.all())
