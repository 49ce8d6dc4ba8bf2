"""Make the figures of a stored run anew from its recording, and say what that changes."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.compare_figures import compare_figures
from server.actions.keep_recording import stored_recording
from server.actions.prepare_run import digest_inputs
from server.actions.reduce_log import reduce_described
from server.errors import NotFound
from server.model.changes import RunChange
from server.model.measured import Finding
from server.model.methods import METHOD_VERSIONS
from server.model.results import Reduction
from server.model.views import RunView
from server.model.words import FindingCode, RunKind, RunState, Severity
from server.store import tables as t
from server.store.database import read_session
from server.store.run_views import load_run_views
from server.store.sent_logs import SentLog, log_of_run


@dataclass(frozen=True, slots=True)
class StoredRun:
    """A run that has figures: what they were made from, and which set is shown."""

    run_id: int
    set_id: int
    recording_sha256: str
    log: SentLog
    view: RunView


def chosen_runs(engine: Engine, *, public_ids: Sequence[str], only_stale: bool) -> list[int]:
    """Keys of the runs that have figures, in their order; withdrawn ones are left alone.

    Parameters
    ----------
    public_ids : which runs; none named: all. only_stale : only those made by another method.

    Raises
    ------
    NotFound: a named run does not exist or has no figures.
    """
    run = t.RunRow
    query = select(run.id, run.public_id, run.kind, t.MetricSetRow.method_version).join(
        t.MetricSetRow, t.MetricSetRow.id == run.current_set_id
    )
    query = query.where(run.state != RunState.WITHDRAWN).order_by(run.id)
    if public_ids:
        query = query.where(run.public_id.in_(public_ids))
    with read_session(engine) as session:
        rows = session.execute(query).all()
    missing = sorted(set(public_ids) - {row.public_id for row in rows})
    if missing:
        raise NotFound(f"No run with figures: {', '.join(missing)}.")
    return [
        row.id
        for row in rows
        if not only_stale or row.method_version != METHOD_VERSIONS.get(RunKind(row.kind))
    ]


def read_stored(session: Session, run_id: int, *, files: Path) -> StoredRun:
    """A run with the figures it shows. Its key is one of `chosen_runs`."""
    row = session.execute(
        select(t.RunRow.current_set_id, t.RunRevisionRow.recording_sha256)
        .join(t.RunRevisionRow, t.RunRevisionRow.id == t.RunRow.current_revision_id)
        .where(t.RunRow.id == run_id)
    ).one()
    views = load_run_views(session, run_ids=[run_id], with_trace=False)
    log = log_of_run(session, run_id=run_id, files=files)
    return StoredRun(run_id, row.current_set_id, row.recording_sha256, log, views[run_id])


def reduce_again(stored: StoredRun, *, files: Path) -> tuple[Reduction, str]:
    """Today's figures of a stored run, and the digest of what they were made from. No SQL.

    Raises
    ------
    NotFound: neither its recording nor its file can be read as they were.
    """
    bench = stored.log.bench
    recording = stored_recording(stored.recording_sha256, log=stored.log, files=files)
    reduction = reduce_described(recording, bench=bench)
    # That a file was sent before is no matter of its numbers: it is taken over.
    shown = stored.view.reduction
    before = shown.findings if shown is not None else ()
    kept = tuple(f for f in before if f.code is FindingCode.SAME_FILE)
    reduction = replace(reduction, findings=(*reduction.findings, *kept))
    return reduction, digest_inputs(stored.recording_sha256, bench=bench)


def change_of(view: RunView, before: Reduction, after: Reduction) -> RunChange:
    """What the new figures of a run change, and where the rule of publication would move it."""
    metrics = compare_figures(before.metrics, after.metrics)
    old, new = {f.code for f in before.findings}, {f.code for f in after.findings}
    appliance = view.appliance.content
    is_other = before.method_version != after.method_version
    is_new = bool(metrics) or is_other or old != new
    return RunChange(
        public_id=view.public_id,
        appliance=f"{appliance.maker} {appliance.model}",
        method_before=before.method_version,
        method_after=after.method_version,
        is_new_set=is_new,
        metrics=metrics,
        findings_new=tuple(sorted(new - old)),
        findings_gone=tuple(sorted(old - new)),
        state_before=view.state,
        state_after=state_by_rule(view.state, after.findings) if is_new else view.state,
    )


def state_by_rule(state: RunState, findings: Iterable[Finding]) -> RunState:
    """Where the rule moves a run: a finding of severity error holds it back, none lets it go."""
    holds = any(finding.severity is Severity.ERROR for finding in findings)
    if state is RunState.PUBLISHED and holds:
        return RunState.WAITING
    if state is RunState.WAITING and not holds:
        return RunState.PUBLISHED
    return state
