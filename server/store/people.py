"""Testers and what lets them in. Tokens and session keys are known by their SHA-256 only."""

import hashlib
from typing import Any

from sqlalchemy import ColumnElement, Select, and_, or_, select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.views import Tester
from server.store import tables as t
from server.store.journal import now


def secret_sha256(secret: str) -> str:
    """A token is 256 random bits, so one plain hash is enough to keep it safe."""
    return hashlib.sha256(secret.encode(errors="surrogatepass")).hexdigest()


def tester_for_token(session: Session, *, token: str) -> Tester | None:
    """Whose token it is; None for one that is unknown, expired or revoked."""
    return _tester(
        session, _testers().where(t.ApiTokenRow.sha256 == secret_sha256(token), live_token())
    )


def tester_for_session(session: Session, *, key: str) -> Tester | None:
    """Who is signed in by a session key; None once the session or its token has ended."""
    web = t.WebSessionRow
    query = (
        _testers()
        .join(web, web.token_id == t.ApiTokenRow.id)
        .where(web.sha256 == secret_sha256(key), web.expires_at > now(), live_token())
    )
    return _tester(session, query)


def tester_by_public_id(session: Session, *, public_id: str) -> Tester:
    """A tester without scopes, for their page. Raises NotFound."""
    row = session.execute(
        select(t.TesterRow).where(t.TesterRow.public_id == public_id)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no tester {public_id}.")
    return Tester(id=row.id, public_id=row.public_id, name=row.name, scopes=frozenset())


def live_token() -> ColumnElement[bool]:
    token = t.ApiTokenRow
    return and_(
        token.revoked_at.is_(None), or_(token.expires_at.is_(None), token.expires_at > now())
    )


def _testers() -> Select[int, str, str, list[Any]]:
    tester = t.TesterRow
    return select(tester.id, tester.public_id, tester.name, t.ApiTokenRow.scopes).join(
        t.ApiTokenRow, t.ApiTokenRow.tester_id == tester.id
    )


def _tester(session: Session, query: Select[int, str, str, list[Any]]) -> Tester | None:
    row = session.execute(query).first()
    if row is None:
        return None
    return Tester(id=row[0], public_id=row[1], name=row[2], scopes=frozenset(row[3]))
