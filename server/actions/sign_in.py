"""Begin and end a sign-in to the pages."""

import secrets
from datetime import timedelta

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.errors import SignInNeeded
from server.model.people import Role
from server.store.identity import new_public_id
from server.store.journal import now
from server.store.people import live_token, secret_sha256
from server.store.tables import ApiTokenRow, TesterRow, WebSessionRow

VISIT_HOURS = 24.0
MAX_AGENT = 200


def start_session(
    session: Session,
    *,
    tester_id: int,
    hours: float,
    token_id: int | None = None,
    has_second_factor: bool = False,
    agent: str | None = None,
) -> str:
    """Begin a sign-in of somebody who has just proved who they are.

    Parameters
    ----------
    hours : until it ends by itself; one made with a token ends with that at the latest.
    has_second_factor : whether a second factor was given too.
    agent : what the browser calls itself, so that its owner tells sign-ins apart.

    Returns
    -------
    The key for the cookie. Only its SHA-256 is kept.
    """
    key = secrets.token_urlsafe(32)
    at = now()
    session.add(
        WebSessionRow(
            sha256=secret_sha256(key),
            public_id=new_public_id(),
            tester_id=tester_id,
            token_id=token_id,
            agent=agent[:MAX_AGENT] if agent else None,
            created_at=at,
            seen_at=at,
            proved_at=at,
            second_factor_at=at if has_second_factor else None,
            expires_at=at + timedelta(hours=hours),
        )
    )
    session.flush()
    return key


def sign_in_with_token(
    session: Session, *, token: str, hours: float, agent: str | None = None
) -> tuple[int, str]:
    """Begin a sign-in with a token; gives whose it is and the key for the cookie.

    Raises
    ------
    SignInNeeded: the token is unknown, expired or revoked.
    """
    row = session.execute(
        select(ApiTokenRow).where(ApiTokenRow.sha256 == secret_sha256(token), live_token())
    ).scalar_one_or_none()
    if row is None:
        raise SignInNeeded("This token is not known here, or it has expired.")
    key = start_session(session, tester_id=row.tester_id, token_id=row.id, hours=hours, agent=agent)
    return row.tester_id, key


def start_visit(session: Session, *, agent: str | None = None) -> str:
    """Let somebody try without an account: a private place for drafts that ends after a day.

    It is an account without name and e-mail, so that signing up keeps all that was tried.
    """
    at = now()
    visitor = TesterRow(
        public_id=new_public_id(),
        name="",
        role=Role.VISITOR.value,
        created_at=at,
        expires_at=at + timedelta(hours=VISIT_HOURS),
    )
    session.add(visitor)
    session.flush()
    return start_session(session, tester_id=visitor.id, hours=VISIT_HOURS, agent=agent)


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
