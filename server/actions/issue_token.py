"""Make a token for a tester."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy.orm import Session

from server.actions.enrol_tester import enrol_tester
from server.errors import InvalidInput, Problem
from server.store.identity import new_public_id
from server.store.journal import OPERATOR, Actor, now, record
from server.store.people import secret_sha256
from server.store.tables import ApiTokenRow

SCOPES = ("send", "maintain")
# So that a token found in a log or a repository is recognised for what it is.
TOKEN_START = "bl_"  # noqa: S105  the visible start of every token, not one


@dataclass(frozen=True, slots=True)
class IssuedToken:
    """A token in clear, told once; only its SHA-256 is kept."""

    token: str
    public_id: str
    tester_public_id: str


def issue_token(
    session: Session,
    *,
    tester: str,
    scopes: Sequence[str] = ("send",),
    days: float | None = 90,
    label: str = "token",
    actor: Actor = OPERATOR,
) -> IssuedToken:
    """Make a token for the tester of that name, who is made if new.

    Parameters
    ----------
    tester : the tester's name.
    scopes : what the token may do, from SCOPES.
    days : until it expires; None: never.
    label : the tester's own word for it.
    actor : who issues it.

    Returns
    -------
    IssuedToken with the only copy of the token in clear.

    Raises
    ------
    InvalidInput: an empty name, an unknown scope, or a time that is not ahead.
    """
    name = " ".join(tester.split())
    problems = _problems(name, scopes, days)
    if problems:
        raise InvalidInput("token", problems)
    person = enrol_tester(session, name=tester)
    secret = TOKEN_START + secrets.token_urlsafe(32)
    token = ApiTokenRow(
        public_id=new_public_id(),
        tester_id=person.id,
        label=label,
        sha256=secret_sha256(secret),
        scopes=sorted(set(scopes)),
        created_at=now(),
        expires_at=now() + timedelta(days=days) if days is not None else None,
    )
    session.add(token)
    session.flush()
    record(
        session,
        actor=actor,
        act="token issued",
        subject_kind="tester",
        subject_id=person.id,
        after={"token": token.public_id, "scopes": token.scopes},
    )
    return IssuedToken(token=secret, public_id=token.public_id, tester_public_id=person.public_id)


def _problems(name: str, scopes: Sequence[str], days: float | None) -> list[Problem]:
    problems = []
    if not name:
        problems.append(Problem("the tester has no name.", "Give one.", field="tester"))
    unknown = sorted(set(scopes) - set(SCOPES))
    if unknown:
        remedy = f"Use {' or '.join(SCOPES)}."
        problems.append(Problem(f"no scope {', '.join(unknown)}.", remedy, field="scopes"))
    if days is not None and not 0 < days <= 36_500:
        problems.append(Problem("it must expire later than now.", "Give days.", field="days"))
    return problems
