"""Tokens that somebody makes for their own programs."""

from collections.abc import Sequence

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.actions.issue_token import IssuedToken, make_token
from server.errors import Conflict, InvalidInput, Problem
from server.model.views import Tester
from server.store.journal import by
from server.store.people import live_token
from server.store.tables import ApiTokenRow

DAYS = (7, 30, 90, 365)
USUAL_DAYS = 90
MAX_TOKENS = 50
_MAX_LABEL = 60


def make_own_token(
    session: Session, *, tester: Tester, scopes: Sequence[str], days: float, label: str
) -> IssuedToken:
    """Make a token with some of one's own scopes; it is told once.

    Parameters
    ----------
    scopes : among those of this sign-in: one without a second factor hands on no more than it has.
    days : until it expires, one of DAYS.
    label : one's own word for it.

    Raises
    ------
    InvalidInput: no scope, one that is not one's own, or another time.
    Conflict: there are MAX_TOKENS live ones.
    """
    problems = []
    if not scopes:
        problems.append(Problem("it may do nothing.", "Choose what it may do.", field="scopes"))
    if not set(scopes) <= tester.scopes:
        problems.append(
            Problem("it asks for more than you may.", "Choose among your own.", field="scopes")
        )
    if days not in DAYS:
        remedy = f"Choose one of {', '.join(map(str, DAYS))} days."
        problems.append(Problem("it lasts for another time.", remedy, field="days"))
    if problems:
        raise InvalidInput("token", problems)
    n = session.execute(
        select(func.count())
        .select_from(ApiTokenRow)
        .where(ApiTokenRow.tester_id == tester.id, live_token())
    ).scalar_one()
    if n >= MAX_TOKENS:
        raise Conflict(f"You have {n} tokens that work. End some first.")
    name = " ".join(label.split())[:_MAX_LABEL] or "token"
    return make_token(
        session, tester=tester, scopes=scopes, days=days, label=name, actor=by(tester)
    )
