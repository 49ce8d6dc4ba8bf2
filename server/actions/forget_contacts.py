"""Addresses that readers left for an answer are forgotten once it was given a while ago."""

from datetime import timedelta

from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.model.people import ConcernState
from server.store import tables as t
from server.store.journal import now

KEPT_DAYS = 90


def forget_contacts(session: Session) -> int:
    """Erase the contacts of concerns that were settled KEPT_DAYS ago; how many.

    No journal entry holds them, so nothing of the record changes.
    """
    text, concern = t.PersonTextRow, t.ConcernRow
    old = select(concern.contact_id).where(
        concern.contact_id.is_not(None),
        concern.state == ConcernState.SETTLED.value,
        concern.decided_at < now() - timedelta(days=KEPT_DAYS),
    )
    gone = session.execute(
        update(text)
        .where(text.id.in_(old), text.text.is_not(None))
        .values(text=None, salt=None)
        .returning(text.id)
        .execution_options(synchronize_session=False)
    )
    return len(gone.all())
