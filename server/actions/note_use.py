"""When a token or a sign-in was last used, written down once an hour at most."""

from datetime import timedelta

from sqlalchemy import or_, update
from sqlalchemy.orm import Session

from server.model.views import Tester
from server.store.journal import now
from server.store.tables import ApiTokenRow, WebSessionRow

EVERY = timedelta(hours=1)


def is_due(tester: Tester) -> bool:
    """Whether this use is worth a write."""
    return tester.seen_at is None or tester.seen_at < now() - EVERY


def note_use(session: Session, *, tester: Tester) -> None:
    """Write down that the token or sign-in of this request is in use."""
    at = now()
    if tester.token_id is not None:
        used = ApiTokenRow.used_at
        session.execute(
            update(ApiTokenRow)
            .where(ApiTokenRow.id == tester.token_id, or_(used.is_(None), used < at - EVERY))
            .values(used_at=at)
        )
    if tester.session_id is not None:
        session.execute(
            update(WebSessionRow)
            .where(WebSessionRow.public_id == tester.session_id, WebSessionRow.seen_at < at - EVERY)
            .values(seen_at=at)
        )
