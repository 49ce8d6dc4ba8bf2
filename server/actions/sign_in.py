"""Begin and end a sign-in to the pages."""

import secrets
from datetime import timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.errors import SignInNeeded
from server.store.journal import now
from server.store.people import live_token, secret_sha256
from server.store.tables import ApiTokenRow, WebSessionRow


def start_session(session: Session, *, token: str, hours: float) -> str:
    """Begin a sign-in with a token.

    Parameters
    ----------
    token : the tester's token in clear.
    hours : until the sign-in ends by itself; it ends sooner with its token.

    Returns
    -------
    The key for the cookie. Only its SHA-256 is kept.

    Raises
    ------
    SignInNeeded: the token is unknown, expired or revoked.
    """
    token_id = session.execute(
        select(ApiTokenRow.id).where(ApiTokenRow.sha256 == secret_sha256(token), live_token())
    ).scalar_one_or_none()
    if token_id is None:
        raise SignInNeeded("This token is not known here, or it has expired.")
    key = secrets.token_urlsafe(32)
    at = now()
    session.add(
        WebSessionRow(
            sha256=secret_sha256(key),
            token_id=token_id,
            created_at=at,
            expires_at=at + timedelta(hours=hours),
        )
    )
    return key


def end_session(session: Session, *, key: str) -> None:
    """End a sign-in. One that has ended already stays so."""
    session.execute(delete(WebSessionRow).where(WebSessionRow.sha256 == secret_sha256(key)))


def end_expired_sessions(session: Session) -> int:
    """Remove sign-ins whose time is over; how many."""
    gone = session.execute(
        delete(WebSessionRow)
        .where(WebSessionRow.expires_at <= now())
        .returning(WebSessionRow.sha256)
    )
    return len(gone.all())
