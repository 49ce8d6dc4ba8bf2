"""Several decisions at once, each for itself: what can't be done is told and stops no other."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import StrEnum

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.decide_run import is_held, publish_run, return_run, take_down_run
from server.actions.may_moderate import why_not
from server.actions.move_run import ALLOWED_MOVES
from server.errors import BenchledgerError, InvalidInput, Problem
from server.model.views import Tester
from server.model.words import RunState
from server.store import tables as t

MAX_AT_ONCE = 50


class BulkAct(StrEnum):
    PUBLISH = "publish"
    RETURN = "return"
    WITHDRAW = "withdraw"


_TO = {
    BulkAct.PUBLISH: RunState.PUBLISHED,
    BulkAct.RETURN: RunState.RETURNED,
    BulkAct.WITHDRAW: RunState.WITHDRAWN,
}


@dataclass(frozen=True, slots=True)
class Picked:
    """A run as it was looked at."""

    public_id: str
    version: int


@dataclass(frozen=True, slots=True)
class Expected:
    """What a decision would do to a run; `why_not` says why it would do nothing."""

    picked: Picked
    name: str
    by: str
    state: RunState | None
    version: int
    why_not: str | None
    is_held: bool = False


@dataclass(frozen=True, slots=True)
class Done:
    """What came of a decision; `refused` says why nothing did."""

    picked: Picked
    state: RunState | None
    refused: str | None


def preview_decisions(
    session: Session, *, act: BulkAct, picked: Sequence[Picked], maintainer: Tester
) -> tuple[Expected, ...]:
    """What an act would do to each run, in the order given. Nothing is changed.

    Raises
    ------
    InvalidInput: none, or more than MAX_AT_ONCE.
    """
    _check_number(picked)
    return tuple(_expect(session, act, one, maintainer) for one in picked)


def decide_runs(
    session: Session,
    *,
    act: BulkAct,
    picked: Sequence[Picked],
    reason: str,
    maintainer: Tester,
) -> tuple[Done, ...]:
    """Decide on several runs, each in a savepoint of its own, in the order given.

    Parameters
    ----------
    reason : of all of them; needed for returns and withdrawals, and for a run held by a finding.

    Raises
    ------
    InvalidInput: none, or more than MAX_AT_ONCE.
    """
    _check_number(picked)
    found = []
    for one in picked:
        try:
            with session.begin_nested():
                _decide(session, act, one, reason, maintainer)
        except BenchledgerError as refusal:
            found.append(Done(one, None, str(refusal)))
        else:
            found.append(Done(one, _state(session, one), None))
    return tuple(found)


def _decide(session: Session, act: BulkAct, one: Picked, reason: str, maintainer: Tester) -> None:
    named = {"public_id": one.public_id, "version": one.version, "maintainer": maintainer}
    if act is BulkAct.PUBLISH:
        publish_run(session, **named, note=reason)  # type: ignore[arg-type]
    elif act is BulkAct.RETURN:
        return_run(session, **named, reason=reason)  # type: ignore[arg-type]
    else:
        take_down_run(session, **named, reason=reason)  # type: ignore[arg-type]


def _state(session: Session, one: Picked) -> RunState:
    state = session.scalars(select(t.RunRow.state).where(t.RunRow.public_id == one.public_id)).one()
    return RunState(state)


def _expect(session: Session, act: BulkAct, one: Picked, maintainer: Tester) -> Expected:
    row = session.execute(
        select(t.RunRow, t.ApplianceRow, t.TesterRow.name)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
        .join(t.TesterRow, t.TesterRow.id == t.RunRow.tester_id)
        .where(t.RunRow.public_id == one.public_id)
    ).first()
    if row is None:
        return Expected(one, one.public_id, "", None, 0, "There is no such run.")
    run, appliance = row.RunRow, row.ApplianceRow
    state = RunState(run.state)
    reason = why_not(
        session,
        maintainer=maintainer,
        maker_keys={appliance.maker_key},
        owner_ids={run.tester_id},
        run_id=run.id,
    )
    if reason is None and run.version != one.version:
        reason = f"It changed since you ticked it: it is {state.value} now."
    elif reason is None and _TO[act] not in ALLOWED_MOVES[state]:
        reason = f"It is {state.value}; it can’t become {_TO[act].value}."
    name = f"{appliance.maker} {appliance.model}"
    held = act is BulkAct.PUBLISH and is_held(session, run=run)
    return Expected(one, name, row.name, state, run.version, reason, held)


def _check_number(picked: Sequence[Picked]) -> None:
    if not 0 < len(picked) <= MAX_AT_ONCE:
        remedy = f"Tick one to {MAX_AT_ONCE}."
        problem = Problem("no run, or too many, are ticked.", remedy, field="run")
        raise InvalidInput("decision", [problem])
