"""Make the figures of stored runs anew, and say what changed."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.move_run import move_run
from server.actions.prepare_run import digest_inputs
from server.actions.reduce_log import reduce_described
from server.actions.settle_run import add_metric_set
from server.errors import NotFound
from server.intake import load_recording
from server.model.bench import Bench
from server.model.measured import Finding, Metric
from server.model.methods import METHOD_VERSIONS
from server.model.results import Reduction
from server.model.views import RunView
from server.model.words import FindingCode, MetricName, RunKind, RunState, Severity
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import recording_path
from server.store.journal import OPERATOR, SYSTEM, Actor, now, record
from server.store.listing import rewrite_listing
from server.store.run_views import load_run_views

# Rebuilt figures are identical on one machine; elsewhere they agree to this.
SAME_REL = 1e-9
NOT_MADE = "this method does not make it"


@dataclass(frozen=True, slots=True)
class MetricChange:
    """One figure before and after, in standard uncertainties of the old (`n_u`, signed).

    A figure that one of the two methods does not make is missing there, with that reason.
    """

    name: MetricName
    before: Metric
    after: Metric
    n_u: float | None


@dataclass(frozen=True, slots=True)
class RunChange:
    """What recomputing a run changed; nothing, where `is_new_set` is False."""

    public_id: str
    appliance: str
    method_before: str
    method_after: str
    is_new_set: bool
    metrics: tuple[MetricChange, ...]
    findings_new: tuple[FindingCode, ...]
    findings_gone: tuple[FindingCode, ...]
    state_before: RunState
    state_after: RunState


@dataclass(frozen=True, slots=True)
class _Stored:
    run_id: int
    set_id: int
    recording_sha256: str
    view: RunView


def recompute_runs(
    engine: Engine,
    *,
    files: Path,
    public_ids: Sequence[str] = (),
    only_stale: bool = False,
    actor: Actor = OPERATOR,
    on_count: Callable[[int], None] | None = None,
) -> Iterator[RunChange]:
    """Recompute runs one after the other, each in a transaction of its own.

    No session is open while numbers are made. A set of figures is added where any differs (by
    more than 1e-9 relative) or the method is another; the old set stays and the run's pointer
    moves. Then the rule of publication is applied again.

    Parameters
    ----------
    files : folder of the stored files.
    public_ids : which runs; none named: all that have figures.
    only_stale : only those made by another method than today's.
    actor : who asked.
    on_count : told how many runs it will be, for a progress bar.

    Yields
    ------
    One RunChange per run, in the order of the runs.

    Raises
    ------
    NotFound: a named run does not exist or has no figures.
    """
    run_ids = _chosen(engine, public_ids=public_ids, only_stale=only_stale)
    if on_count is not None:
        on_count(len(run_ids))
    for run_id in run_ids:
        with read_session(engine) as session:
            stored = _read(session, run_id)
        reduction, input_digest = _reduce_again(stored, files=files)
        with write_session(engine) as session:
            change = _store(
                session, stored, reduction=reduction, input_digest=input_digest, actor=actor
            )
        if change is not None:
            yield change


def compare_figures(before: Reduction, after: Reduction) -> tuple[MetricChange, ...]:
    """The figures that differ, in the order of their names."""
    changes = []
    for name in MetricName:
        old, new = before.metrics.get(name), after.metrics.get(name)
        if not _is_same(old, new):
            old = old or Metric.missing(name, NOT_MADE)
            new = new or Metric.missing(name, NOT_MADE)
            changes.append(MetricChange(name, old, new, _in_uncertainties(old, new)))
    return tuple(changes)


def _is_same(old: Metric | None, new: Metric | None) -> bool:
    if old is None or new is None:
        return old is new
    return (
        _is_close(old.value, new.value)
        and _is_close(old.standard_uncertainty, new.standard_uncertainty)
        and (old.lower_bound, old.reason) == (new.lower_bound, new.reason)
    )


def _is_close(old: float | None, new: float | None) -> bool:
    if old is None or new is None:
        return old is new
    return abs(new - old) <= SAME_REL * max(abs(old), abs(new))


def _in_uncertainties(old: Metric, new: Metric) -> float | None:
    if old.value is None or new.value is None:
        return None
    u = old.standard_uncertainty or new.standard_uncertainty
    return (new.value - old.value) / u if u else None


def _chosen(engine: Engine, *, public_ids: Sequence[str], only_stale: bool) -> list[int]:
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


def _read(session: Session, run_id: int) -> _Stored:
    row = session.execute(
        select(t.RunRow.current_set_id, t.RunRevisionRow.recording_sha256)
        .join(t.RunRevisionRow, t.RunRevisionRow.id == t.RunRow.current_revision_id)
        .where(t.RunRow.id == run_id)
    ).one()
    views = load_run_views(session, run_ids=[run_id], with_trace=False)
    return _Stored(run_id, row.current_set_id, row.recording_sha256, views[run_id])


def _reduce_again(stored: _Stored, *, files: Path) -> tuple[Reduction, str]:
    view = stored.view
    bench = Bench(plate=view.plate, rig=view.rig.content, run=view.details)
    recording = load_recording(recording_path(files, stored.recording_sha256))
    reduction = reduce_described(recording, bench=bench)
    # That a file was sent before is no matter of its numbers: it is taken over.
    kept = tuple(f for f in _findings(view) if f.code is FindingCode.SAME_FILE)
    reduction = replace(reduction, findings=(*reduction.findings, *kept))
    return reduction, digest_inputs(stored.recording_sha256, bench=bench)


def _findings(view: RunView) -> tuple[Finding, ...]:
    return view.reduction.findings if view.reduction is not None else ()


def _store(
    session: Session, stored: _Stored, *, reduction: Reduction, input_digest: str, actor: Actor
) -> RunChange | None:
    """None: the run changed meanwhile, and whoever changed it made its figures."""
    run = session.execute(
        select(t.RunRow).where(t.RunRow.id == stored.run_id).with_for_update(key_share=True)
    ).scalar_one()
    before = stored.view.reduction
    if run.current_set_id != stored.set_id or before is None:
        return None
    change = _change(stored.view, before, reduction, state_after=RunState(run.state))
    if not change.is_new_set:
        return change
    revision_id = run.current_revision_id
    assert revision_id is not None  # a run with figures has a revision
    row = add_metric_set(
        session, revision_id=revision_id, reduction=reduction, input_digest=input_digest
    )
    run.current_set_id = row.id
    run.updated_at = now()
    row.was_published = run.state == RunState.PUBLISHED
    record(
        session,
        actor=actor,
        act="figures recomputed",
        subject_kind="run",
        subject_id=run.id,
        before={"set": stored.set_id, "method": change.method_before},
        after={"set": row.id, "method": change.method_after},
    )
    _apply_rule(session, run=run, reduction=reduction)
    rewrite_listing(session, appliance_id=run.appliance_id)
    return replace(change, state_after=RunState(run.state))


def _apply_rule(session: Session, *, run: t.RunRow, reduction: Reduction) -> None:
    holds = any(finding.severity is Severity.ERROR for finding in reduction.findings)
    if run.state == RunState.PUBLISHED and holds:
        move_run(session, run=run, to=RunState.WAITING, actor=SYSTEM)
    elif run.state == RunState.WAITING and not holds:
        move_run(session, run=run, to=RunState.PUBLISHED, actor=SYSTEM)


def _change(
    view: RunView, before: Reduction, after: Reduction, *, state_after: RunState
) -> RunChange:
    metrics = compare_figures(before, after)
    old, new = {f.code for f in before.findings}, {f.code for f in after.findings}
    appliance = view.appliance.content
    is_other = before.method_version != after.method_version
    return RunChange(
        public_id=view.public_id,
        appliance=f"{appliance.maker} {appliance.model}",
        method_before=before.method_version,
        method_after=after.method_version,
        is_new_set=bool(metrics) or is_other or old != new,
        metrics=metrics,
        findings_new=tuple(sorted(new - old)),
        findings_gone=tuple(sorted(old - new)),
        state_before=view.state,
        state_after=state_after,
    )
