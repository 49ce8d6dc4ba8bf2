"""Give a test an address at which others may watch it."""

import secrets
from datetime import timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.errors import Conflict
from server.model.views import Tester
from server.store.journal import now
from server.store.tables import LiveTestRow

LASTS = timedelta(hours=24)  # after the last word of the test
ADDRESS_BYTES = 24  # 192 bits, 32 characters
MAX_AT_ONCE = 20


def open_live_test(session: Session, *, tester: Tester, title: str | None) -> LiveTestRow:
    """Begin a test that others may watch.

    Parameters
    ----------
    tester : whose test it is; nobody else can say anything of it.
    title : what the watchers read on top.

    Returns
    -------
    The row; its `address` is random and stands in no list but the tester's own.

    Raises
    ------
    Conflict: the tester has MAX_AT_ONCE tests open.
    """
    at = now()
    n_open = session.execute(
        select(func.count())
        .select_from(LiveTestRow)
        .where(
            LiveTestRow.tester_id == tester.id,
            LiveTestRow.ended_at.is_(None),
            LiveTestRow.expires_at > at,
        )
    ).scalar_one()
    if n_open >= MAX_AT_ONCE:
        raise Conflict(f"You have {n_open} tests open to watchers. End one first.")
    row = LiveTestRow(
        address=secrets.token_urlsafe(ADDRESS_BYTES),
        tester_id=tester.id,
        title=title,
        content={},
        n_updates=0,
        started_at=at,
        updated_at=at,
        expires_at=at + LASTS,
    )
    session.add(row)
    session.flush()
    return row
