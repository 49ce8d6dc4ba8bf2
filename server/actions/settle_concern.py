"""Settle what was reported, contested, noticed or asked for; and take it."""

from enum import StrEnum

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.assignment import check_not_held, give_back, take
from server.actions.decide_run import DecidedMeanwhile, check_reason
from server.actions.may_moderate import check_may_moderate, why_not
from server.actions.move_run import move_run
from server.errors import InvalidInput, NotFound, Problem
from server.model.people import ConcernKind, ConcernState
from server.model.views import Tester
from server.model.words import RunState
from server.store import tables as t
from server.store.journal import by, keep_text, now, record


class Outcome(StrEnum):
    """What came of a concern. `waits`: its run goes back to waiting, so that it is decided anew."""

    STANDS = "stands"
    CORRECTED = "corrected"
    WAITS = "waits"


# What can come of each: a request is met or not, a contest sends the run back or not.
OUTCOMES: dict[ConcernKind, tuple[Outcome, ...]] = {
    ConcernKind.PROBLEM: (Outcome.STANDS, Outcome.CORRECTED, Outcome.WAITS),
    ConcernKind.NOTICE: (Outcome.STANDS, Outcome.CORRECTED, Outcome.WAITS),
    ConcernKind.CONTEST: (Outcome.STANDS, Outcome.WAITS),
    ConcernKind.REQUEST: (Outcome.STANDS, Outcome.CORRECTED),
}


def settle_concern(
    session: Session,
    *,
    public_id: str,
    version: int,
    maintainer: Tester,
    outcome: Outcome,
    answer: str,
) -> None:
    """Settle a concern with an answer, which everybody can read in What changed.

    Parameters
    ----------
    version : of the concern as it was looked at.
    outcome : one of OUTCOMES for its kind. `waits` moves the run it is about to waiting.

    Raises
    ------
    NotFound: no such concern.
    NotAllowed: one's own words or run, a tied maker's, a contest of one's own decision.
    DecidedMeanwhile: somebody settled it; says who. Conflict: another has taken it, or its run
        can't go back to waiting.
    InvalidInput: no answer, or an outcome that this kind does not have.
    """
    concern = _locked(session, public_id, maintainer)
    if concern.version != version or concern.state != ConcernState.OPEN:
        raise DecidedMeanwhile(_who_settled(session, concern))
    check_not_held(session, case=concern, maintainer=maintainer)
    check_reason(answer, "An answer is needed.")
    kind = ConcernKind(concern.kind)
    if outcome not in OUTCOMES[kind] or (outcome is Outcome.WAITS and concern.run_id is None):
        remedy = f"Use one of {', '.join(OUTCOMES[kind])}."
        raise InvalidInput("decision", [Problem("this can't come of it.", remedy, field="outcome")])
    if outcome is Outcome.WAITS:
        assert concern.run_id is not None
        run = session.get_one(t.RunRow, concern.run_id, with_for_update={"key_share": True})
        if run.state != RunState.WAITING:
            move_run(session, run=run, to=RunState.WAITING, actor=by(maintainer))
    _store(session, concern, maintainer=maintainer, outcome=outcome, answer=answer.strip())


def _store(
    session: Session, concern: t.ConcernRow, *, maintainer: Tester, outcome: Outcome, answer: str
) -> None:
    concern.state = ConcernState.SETTLED.value
    kept = keep_text(session, answer, by_id=maintainer.id)
    concern.answer_id = kept.id
    concern.decided_by_id = maintainer.id
    concern.decided_at = now()
    concern.assigned_to_id = concern.assigned_at = None
    concern.version += 1
    is_of_run = concern.run_id is not None
    subject_id = concern.run_id if is_of_run else concern.appliance_id
    assert subject_id is not None
    record(
        session,
        actor=by(maintainer),
        act=f"{concern.kind} settled",
        subject_kind="run" if is_of_run else "appliance",
        subject_id=subject_id,
        before={"state": ConcernState.OPEN.value},
        after={"concern": concern.public_id, "outcome": outcome.value},
        note=answer,
        texts={"answer": kept},
    )


def take_concern(
    session: Session, *, public_id: str, maintainer: Tester, is_over: bool = False
) -> None:
    """Take a concern for half an hour. Raises NotFound, NotAllowed, Conflict."""
    concern = _locked(session, public_id, maintainer)
    take(session, case=concern, maintainer=maintainer, is_over=is_over)


def give_back_concern(session: Session, *, public_id: str, maintainer: Tester) -> None:
    """Give back a concern that was taken. Raises NotFound, NotAllowed."""
    give_back(case=_locked(session, public_id, maintainer), maintainer=maintainer)


def _locked(session: Session, public_id: str, maintainer: Tester) -> t.ConcernRow:
    concern = session.execute(
        select(t.ConcernRow)
        .where(t.ConcernRow.public_id == public_id)
        .with_for_update(key_share=True)
    ).scalar_one_or_none()
    if concern is None:
        raise NotFound(f"There is no report {public_id}.")
    owners, makers = matters_of(session, concern)
    check_may_moderate(
        session,
        maintainer=maintainer,
        maker_keys=makers,
        owner_ids=owners,
        not_for_id=concern.not_for_id,
    )
    return concern


def why_not_settle(session: Session, *, public_id: str, maintainer: Tester) -> str | None:
    """Why a maintainer may not settle a concern; None where they may. Raises NotFound."""
    concern = session.execute(
        select(t.ConcernRow).where(t.ConcernRow.public_id == public_id)
    ).scalar_one_or_none()
    if concern is None:
        raise NotFound(f"There is no report {public_id}.")
    owners, makers = matters_of(session, concern)
    return why_not(
        session,
        maintainer=maintainer,
        maker_keys=makers,
        owner_ids=owners,
        not_for_id=concern.not_for_id,
    )


def matters_of(session: Session, concern: t.ConcernRow) -> tuple[set[int | None], set[str]]:
    """Whose words and run a concern touches, and which makers."""
    owners: set[int | None] = {concern.by_id} - {None}
    makers: set[str] = set()
    if concern.run_id is not None:
        owners.add(session.get_one(t.RunRow, concern.run_id).tester_id)
    if concern.appliance_id is not None:
        makers.add(session.get_one(t.ApplianceRow, concern.appliance_id).maker_key)
    return owners, makers


def _who_settled(session: Session, concern: t.ConcernRow) -> str:
    if concern.decided_by_id is None or concern.decided_at is None:
        return "This changed since you opened it. Look at it again."
    name = session.get_one(t.TesterRow, concern.decided_by_id).name
    at = f"{concern.decided_at:%d %b %Y at %H:%M} UTC"
    return f"Meanwhile, on {at}: settled, by {name}. Nothing of yours was stored."
