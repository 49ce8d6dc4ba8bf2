"""Testers and what lets them in. Tokens and session keys are known by their SHA-256 only."""

import hashlib

from sqlalchemy import ColumnElement, and_, or_, select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.people import Role, scopes_of
from server.model.views import Tester
from server.store import tables as t
from server.store.journal import now


def secret_sha256(secret: str) -> str:
    """A token is 256 random bits, so one plain hash is enough to keep it safe."""
    return hashlib.sha256(secret.encode(errors="surrogatepass")).hexdigest()


def tester_for_token(session: Session, *, token: str) -> Tester | None:
    """Whose token it is; None for one that is unknown, expired or revoked."""
    tester, own = t.TesterRow, t.ApiTokenRow
    row = session.execute(
        select(tester, own)
        .join(own, own.tester_id == tester.id)
        .where(own.sha256 == secret_sha256(token), live_token(), tester.erased_at.is_(None))
    ).first()
    if row is None:
        return None
    account, used = row
    role = Role(account.role)
    return Tester(
        id=account.id,
        public_id=account.public_id,
        name=account.name,
        scopes=scopes_of(role, token_scopes=used.scopes, has_second_factor=False),
        role=role,
        is_by_token=True,
        token_id=used.id,
        seen_at=used.used_at,
    )


def tester_for_session(session: Session, *, key: str) -> Tester | None:
    """Who is signed in by a session key; None once the session, its token or account has ended."""
    tester, web, own = t.TesterRow, t.WebSessionRow, t.ApiTokenRow
    row = session.execute(
        select(tester, web, own.scopes)
        .join(web, web.tester_id == tester.id)
        .outerjoin(own, own.id == web.token_id)
        .where(
            web.sha256 == secret_sha256(key),
            web.expires_at > now(),
            tester.erased_at.is_(None),
            or_(web.token_id.is_(None), live_token()),
        )
    ).first()
    if row is None:
        return None
    account, signed, token_scopes = row
    role = Role(account.role)
    is_strong = signed.second_factor_at is not None
    return Tester(
        id=account.id,
        public_id=account.public_id,
        name=account.name,
        scopes=scopes_of(role, token_scopes=token_scopes, has_second_factor=is_strong),
        role=role,
        session_id=signed.public_id,
        proved_at=signed.proved_at,
        has_second_factor=is_strong,
        is_by_token=signed.token_id is not None,
        token_id=signed.token_id,
        seen_at=signed.seen_at,
    )


def tester_by_public_id(session: Session, *, public_id: str) -> Tester:
    """A tester without scopes, for their page. Raises NotFound."""
    row = session.execute(
        select(t.TesterRow).where(t.TesterRow.public_id == public_id)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no tester {public_id}.")
    return Tester(id=row.id, public_id=row.public_id, name=row.name, scopes=frozenset())


def tester_by_id(session: Session, *, tester_id: int) -> Tester:
    """A tester without scopes, with their role."""
    row = session.get_one(t.TesterRow, tester_id)
    return Tester(row.id, row.public_id, row.name, frozenset(), Role(row.role))


def live_token() -> ColumnElement[bool]:
    token = t.ApiTokenRow
    return and_(
        token.revoked_at.is_(None), or_(token.expires_at.is_(None), token.expires_at > now())
    )
