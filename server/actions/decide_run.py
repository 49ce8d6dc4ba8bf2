"""A maintainer's decisions on one run: publish, return, withdraw, looked at; and taking it."""

from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.assignment import check_not_held, give_back, take
from server.actions.may_moderate import check_may_moderate
from server.actions.move_run import move_run
from server.actions.remark_fields import is_remark_field
from server.errors import Conflict, InvalidInput, NotFound, Problem
from server.model.moderation import Decision, RemarkSent
from server.model.views import Tester
from server.model.words import RunState, Severity
from server.store import tables as t
from server.store.identity import new_public_id
from server.store.journal import by, keep_text, now, record, witness
from server.store.remarks import last_decision

MAX_REMARKS = 20
MAX_TEXT = 2000
SHORTEST_REASON = 3


class DecidedMeanwhile(Conflict):
    """Somebody decided between the look and the act."""


def publish_run(
    session: Session, *, public_id: str, version: int, maintainer: Tester, note: str = ""
) -> None:
    """Publish a waiting run; one with a date ahead is accepted and published on it by the worker.

    Parameters
    ----------
    version : of the run as it was looked at.
    note : why; needed where a finding holds the run back, and read by everybody.

    Raises
    ------
    InvalidInput: a finding holds it back and no reason was given.
    NotFound, NotAllowed, Conflict: as for every decision (see `decided_on`).
    """
    run = decided_on(session, public_id=public_id, version=version, maintainer=maintainer)
    note = note.strip()
    if RunState(run.state) is RunState.WAITING and is_held(session, run=run):
        check_reason(note, "A finding holds this run back.")
    if (
        RunState(run.state) is RunState.WAITING
        and run.not_before is not None
        and run.not_before > now().date()
    ):
        _accept(session, run=run, maintainer=maintainer, note=note)
        return
    move_run(session, run=run, to=RunState.PUBLISHED, actor=by(maintainer), note=note or None)


def _accept(session: Session, *, run: t.RunRow, maintainer: Tester, note: str) -> None:
    if run.accepted_at is not None:
        raise Conflict("This run is accepted already; it is published on its date.")
    run.accepted_at = run.updated_at = now()
    run.version += 1
    run.assigned_to_id = run.assigned_at = None
    assert run.not_before is not None
    record(
        session,
        actor=by(maintainer),
        act="run accepted",
        subject_kind="run",
        subject_id=run.id,
        before={"accepted": False},
        after={"accepted": True, "not_before": run.not_before.isoformat()},
        note=note or None,
    )


def return_run(
    session: Session,
    *,
    public_id: str,
    version: int,
    maintainer: Tester,
    reason: str = "",
    remarks: Sequence[RemarkSent] = (),
) -> None:
    """Send a waiting run back to its tester, with what to correct.

    Parameters
    ----------
    reason : of the whole; read by everybody once the run is published.
    remarks : each tied to a field; read by the tester and maintainers.

    Raises
    ------
    InvalidInput: neither reason nor remark, a field that is none, a remark without text.
    NotFound, NotAllowed, Conflict: as for every decision.
    """
    run = decided_on(session, public_id=public_id, version=version, maintainer=maintainer)
    reason = reason.strip()
    _check_remarks(reason, remarks)
    stored = [_add_remark(session, run=run, sent=one, maintainer=maintainer) for one in remarks]
    move_run(
        session,
        run=run,
        to=RunState.RETURNED,
        actor=by(maintainer),
        note=reason or None,
        details={"remarks": stored} if stored else {},
    )


def take_down_run(
    session: Session, *, public_id: str, version: int, maintainer: Tester, reason: str
) -> None:
    """Withdraw somebody's run: it leaves every page and figure, with the reason on record.

    Raises
    ------
    InvalidInput: no reason. NotFound, NotAllowed, Conflict: as for every decision.
    """
    run = decided_on(session, public_id=public_id, version=version, maintainer=maintainer)
    check_reason(reason, "A removal needs its reason.")
    move_run(session, run=run, to=RunState.WITHDRAWN, actor=by(maintainer), note=reason.strip())


def look_over_run(session: Session, *, public_id: str, version: int, maintainer: Tester) -> None:
    """Note that a run published by rule was looked at and found sound.

    Raises
    ------
    Conflict: nobody was to look at it. NotFound, NotAllowed, Conflict: as for every decision.
    """
    run = decided_on(session, public_id=public_id, version=version, maintainer=maintainer)
    if not run.needs_look or RunState(run.state) is not RunState.PUBLISHED:
        raise Conflict("This run is not one of those to be looked at.")
    run.needs_look = False
    run.version += 1
    run.assigned_to_id = run.assigned_at = None
    record(
        session,
        actor=by(maintainer),
        act="run looked at",
        subject_kind="run",
        subject_id=run.id,
        before={"needs_look": True},
        after={"needs_look": False},
    )


def take_run(
    session: Session, *, public_id: str, maintainer: Tester, is_over: bool = False
) -> None:
    """Take a run for half an hour. Raises NotFound, NotAllowed, Conflict."""
    take(session, case=_locked(session, public_id, maintainer), maintainer=maintainer,
         is_over=is_over)  # fmt: skip


def give_back_run(session: Session, *, public_id: str, maintainer: Tester) -> None:
    """Give back a run that was taken. Raises NotFound, NotAllowed."""
    give_back(case=_locked(session, public_id, maintainer), maintainer=maintainer)


def decided_on(session: Session, *, public_id: str, version: int, maintainer: Tester) -> t.RunRow:
    """The run, locked, if this maintainer may decide on it as it was looked at.

    Raises
    ------
    NotFound: no such run.
    NotAllowed: their own, a tied maker's, or one whose return by them is contested.
    DecidedMeanwhile: it changed since; says who did what.
    Conflict: another maintainer has taken it.
    """
    run = _locked(session, public_id, maintainer)
    if run.version != version:
        raise DecidedMeanwhile(_who_decided(last_decision(session, run_id=run.id)))
    check_not_held(session, case=run, maintainer=maintainer)
    return run


def is_held(session: Session, *, run: t.RunRow) -> bool:
    """Whether a finding of the run's current figures holds it back."""
    finding = t.FindingRow
    found = session.execute(
        select(finding.position)
        .where(
            finding.metric_set_id == run.current_set_id, finding.severity == Severity.ERROR.value
        )
        .limit(1)
    )
    return found.first() is not None


def check_reason(reason: str, why: str) -> None:
    """Raises InvalidInput for a reason that is none or too long."""
    if not SHORTEST_REASON <= len(reason.strip()) <= MAX_TEXT:
        remedy = f"Say why, in {SHORTEST_REASON} to {MAX_TEXT} characters."
        raise InvalidInput("decision", [Problem(why, remedy, field="reason")])


def _locked(session: Session, public_id: str, maintainer: Tester) -> t.RunRow:
    row = session.execute(
        select(t.RunRow, t.ApplianceRow.maker_key)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
        .where(t.RunRow.public_id == public_id)
        .with_for_update(key_share=True, of=t.RunRow)
    ).first()
    if row is None:
        raise NotFound(f"There is no run {public_id}.")
    run: t.RunRow = row.RunRow
    check_may_moderate(
        session,
        maintainer=maintainer,
        maker_keys={row.maker_key},
        owner_ids={run.tester_id},
        run_id=run.id,
    )
    return run


def _who_decided(last: Decision | None) -> str:
    if last is None:
        return "This run changed since you opened it. Look at it again."
    return (
        f"Meanwhile, on {last.at:%d %b %Y at %H:%M} UTC: {last.act}, by {last.by}. "
        "Nothing of yours was stored. Look at it again."
    )


def _check_remarks(reason: str, remarks: Sequence[RemarkSent]) -> None:
    problems = []
    if not reason and not remarks:
        remedy = "Write a reason, or a remark on a field."
        problems.append(Problem("a return needs a reason.", remedy, field="reason"))
    if len(reason) > MAX_TEXT:
        problems.append(Problem("it is too long.", f"Use {MAX_TEXT} characters.", field="reason"))
    if len(remarks) > MAX_REMARKS:
        remedy = f"Send {MAX_REMARKS} at most."
        problems.append(Problem("there are too many remarks.", remedy, field="remarks"))
    for number, remark in enumerate(remarks, start=1):
        place = f"remarks[{number}]"
        if not is_remark_field(remark.field):
            word = remark.field[:60]
            remedy = "Use one like plate.voltage, rig.arm, column.3.unit, file or run."
            problems.append(Problem(f"no field is called “{word}”.", remedy, field=place))
        if not 0 < len(remark.text.strip()) <= MAX_TEXT:
            remedy = f"Say what to correct, in at most {MAX_TEXT} characters."
            problems.append(Problem("a remark needs a text.", remedy, field=place))
    if problems:
        raise InvalidInput("decision", problems)


def _add_remark(
    session: Session, *, run: t.RunRow, sent: RemarkSent, maintainer: Tester
) -> Mapping[str, Any]:
    """Store a remark; gives what the journal keeps of it, which is no text of anybody's."""
    text = keep_text(session, sent.text.strip(), by_id=maintainer.id)
    assert run.current_revision_id is not None  # a run that waits was sent
    session.add(
        t.RemarkRow(
            public_id=new_public_id(),
            run_id=run.id,
            run_revision_id=run.current_revision_id,
            field=sent.field,
            text_id=text.id,
            by_id=maintainer.id,
            created_at=now(),
        )
    )
    return {"field": sent.field, "said": witness(text)}
