"""Make a token for a tester."""

import secrets
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy.orm import Session

from server.actions.enrol_tester import enrol_tester
from server.actions.record_consent import consent_by_operator
from server.actions.set_role import change_role
from server.errors import InvalidInput, Problem
from server.model.people import ADMINISTER, MAINTAIN, SCOPES_OF_ROLE, SEND, Role
from server.model.views import Tester
from server.store.identity import new_public_id
from server.store.journal import OPERATOR, Actor, now, record
from server.store.people import secret_sha256
from server.store.tables import ApiTokenRow, TesterRow

SCOPES = (SEND, MAINTAIN, ADMINISTER)
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
    scopes: Sequence[str] = (SEND,),
    days: float | None = 90,
    label: str = "token",
    actor: Actor = OPERATOR,
) -> IssuedToken:
    """Make a token for the tester of that name, who is made if new. The operator's way.

    The operator's word makes a maintainer or administrator: the role rises to what the scopes need.

    Parameters
    ----------
    tester : the name of an account without e-mail; others make their tokens themselves.
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
    _raise_role(session, person, scopes=scopes, actor=actor)
    consent_by_operator(session, tester_id=person.id, actor=actor)
    return make_token(session, tester=person, scopes=scopes, days=days, label=label, actor=actor)


def make_token(
    session: Session,
    *,
    tester: Tester,
    scopes: Sequence[str],
    days: float | None,
    label: str,
    actor: Actor,
) -> IssuedToken:
    """Make a token for an account; parameters and returns as for `issue_token`."""
    secret = TOKEN_START + secrets.token_urlsafe(32)
    token = ApiTokenRow(
        public_id=new_public_id(),
        tester_id=tester.id,
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
        subject_id=tester.id,
        after={"token": token.public_id, "scopes": token.scopes},
    )
    return IssuedToken(token=secret, public_id=token.public_id, tester_public_id=tester.public_id)


def _raise_role(session: Session, person: Tester, *, scopes: Sequence[str], actor: Actor) -> None:
    row = session.get_one(TesterRow, person.id)
    if not set(scopes) <= SCOPES_OF_ROLE[Role(row.role)]:
        needed = next(role for role in Role if set(scopes) <= SCOPES_OF_ROLE[role])
        change_role(session, row, needed, actor=actor)


def _problems(name: str, scopes: Sequence[str], days: float | None) -> list[Problem]:
    problems = []
    if not name:
        problems.append(Problem("the tester has no name.", "Give one.", field="tester"))
    unknown = sorted(set(scopes) - set(SCOPES))
    if unknown:
        remedy = f"Use {' or '.join(SCOPES)}."
        problems.append(Problem(f"no scope {', '.join(unknown)}.", remedy, field="scopes"))
    if days is not None and not 0 < days <= 36_500:
        problems.append(
            Problem(
                "it must expire between now and a century from now.",
                "Give 1 to 36500 days.",
                field="days",
            )
        )
    return problems
