"""Correct a run: a new revision beside the old one, with its reason."""

from datetime import date

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.actions.complete_bench import choose
from server.actions.move_run import move_run
from server.actions.prepare_run import PreparedRun
from server.actions.settle_run import AT_ONCE
from server.actions.store_revision import (
    add_revision,
    settle_or_queue,
    subject_of,
)
from server.actions.submit_run import SubmittedRun
from server.errors import Conflict, InvalidInput, NotAllowed, NotFound, Problem
from server.model.bench import Bench
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.model.words import RunState
from server.store.files import StoredUpload
from server.store.journal import by, keep_text
from server.store.listing import rewrite_listing
from server.store.tables import RunRevisionRow, RunRow

CORRECTABLE = frozenset({RunState.WAITING, RunState.RETURNED, RunState.PUBLISHED, RunState.FAILED})
MAX_REASON = 2000


def revise_run(
    session: Session,
    *,
    run_id: str,
    prepared: PreparedRun | None,
    upload: StoredUpload,
    bench: Bench,
    tester: Tester,
    reason: str,
    appliance_id: str | None = None,
    specimen_id: str | None = None,
    rig_id: str | None = None,
    not_before: date | None = None,
    rule: PublishingRule = AT_ONCE,
) -> SubmittedRun:
    """Store a correction of one's own run as its next revision, with the figures it gives.

    The revisions before stay as they are, each at its own address. Where the rule lets it, the new
    one is published at once; else the run waits until somebody has looked, and leaves lists and
    pooled figures for that time: its own tester says that the old figures are wrong. A run that was
    returned always waits.

    Parameters
    ----------
    run_id : the run's public id.
    reason : why, in the tester's words; readers see it.
    Others : as for `submit_run`.

    Raises
    ------
    NotFound, NotAllowed: no such run, or another's.
    InvalidInput: no reason, or a run of another kind, which is another run.
    Conflict: it is being worked out or was withdrawn; and what `submit_run` raises.
    """
    run = _own_run(session, run_id, tester)
    _check(run, reason=reason.strip(), bench=bench)
    named = {"appliance_id": appliance_id, "specimen_id": specimen_id, "rig_id": rig_id}
    chosen = choose(session, bench=bench, tester=tester, **named)
    subject = subject_of(session, chosen=chosen, bench=bench, tester=tester, prepared=prepared)
    last = session.execute(
        select(func.max(RunRevisionRow.number)).where(RunRevisionRow.run_id == run.id)
    ).scalar_one()
    move_run(session, run=run, to=RunState.WORKING, actor=by(tester), note=reason.strip())
    _point_anew(session, run=run, appliance_id=subject.appliance.id)
    run.not_before = not_before or run.not_before
    revision = add_revision(
        session,
        run=run,
        subject=subject,
        bench=bench,
        upload=upload,
        number=(last or 0) + 1,
        reason_id=keep_text(session, reason.strip(), by_id=tester.id).id,
    )
    settle_or_queue(session, run=run, revision=revision, prepared=prepared, rule=rule)
    return SubmittedRun(public_id=run.public_id, state=RunState(run.state), is_new=True)


def _point_anew(session: Session, *, run: RunRow, appliance_id: int) -> None:
    """The run's appliance may be another now; no figures of the old revision stand for the new."""
    before, run.appliance_id = run.appliance_id, appliance_id
    run.current_set_id = None
    if before != appliance_id:
        session.flush()
        rewrite_listing(session, appliance_id=before)


def _own_run(session: Session, run_id: str, tester: Tester) -> RunRow:
    run = session.execute(
        select(RunRow).where(RunRow.public_id == run_id).with_for_update(key_share=True)
    ).scalar_one_or_none()
    if run is None or (run.tester_id != tester.id and run.state != RunState.PUBLISHED):
        raise NotFound(f"There is no run {run_id}.")
    if run.tester_id != tester.id:
        raise NotAllowed("This run is another tester's. Say what is wrong with it on its page.")
    return run


def _check(run: RunRow, *, reason: str, bench: Bench) -> None:
    if RunState(run.state) not in CORRECTABLE:
        raise Conflict(f"This run is {run.state}; it can't be corrected now.")
    problems = []
    if not reason:
        told = "a correction needs its reason."
        problems.append(Problem(told, "Say in a few words what changed.", field="reason"))
    if len(reason) > MAX_REASON:
        told = f"the reason is over {MAX_REASON} characters."
        problems.append(Problem(told, "Shorten it.", field="reason"))
    if bench.run.kind.value != run.kind:
        told = "a run of another kind is another run."
        problems.append(Problem(told, "Take this one back and send it anew.", field="run.kind"))
    if problems:
        raise InvalidInput("correction", problems)
