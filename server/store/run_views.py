"""Whole runs, several at once in a constant number of statements."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import Session, defer

from server.model.bench import Claim
from server.model.measured import Finding, Metric
from server.model.methods import METHOD_VERSIONS
from server.model.results import Reduction
from server.model.views import JournalRow, RunView, Stored, StoredFile
from server.model.words import MetricName, RunKind, RunState
from server.store import tables as t
from server.store.journal import journal_of
from server.store.kept_sets import kept_sets, key_of
from server.store.shapes import (
    appliance_of,
    claim_of,
    columns_of,
    details_of,
    finding_of,
    metric_of,
    plate_of,
    reduction_of,
    rig_of,
    specimen_of,
)

# Built once: putting it together anew costs more than running it.
WHOLE_RUNS: Any = (
    select(
        t.RunRow,
        t.RunRevisionRow,
        t.ApplianceRow,
        t.PlateRevisionRow,
        t.SpecimenRow,
        t.RigRevisionRow,
        t.MetricSetRow,
        t.RigRow.public_id.label("rig_public_id"),
        t.RigRow.slug.label("rig_slug"),
        t.TesterRow.name.label("tester_name"),
        t.TesterRow.public_id.label("tester_public_id"),
        t.StoredFileRow.n_bytes.label("file_bytes"),
    )
    .join(t.RunRevisionRow, t.RunRevisionRow.id == t.RunRow.current_revision_id)
    .join(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
    .join(t.PlateRevisionRow, t.PlateRevisionRow.id == t.RunRevisionRow.plate_revision_id)
    .join(t.SpecimenRow, t.SpecimenRow.id == t.RunRevisionRow.specimen_id)
    .join(t.RigRevisionRow, t.RigRevisionRow.id == t.RunRevisionRow.rig_revision_id)
    .join(t.RigRow, t.RigRow.id == t.RigRevisionRow.rig_id)
    .join(t.TesterRow, t.TesterRow.id == t.RunRow.tester_id)
    .join(t.StoredFileRow, t.StoredFileRow.sha256 == t.RunRevisionRow.file_sha256)
    .outerjoin(t.MetricSetRow, t.MetricSetRow.id == t.RunRow.current_set_id)
)


# The long parts of a set of figures; those of a comparison are kept once they were read.
_COMPARED: Any = select(
    t.MetricSetRow.id,
    t.MetricSetRow.method_version,
    t.MetricSetRow.lag,
    t.MetricSetRow.channels_used,
    t.MetricSetRow.points,
    t.MetricSetRow.curves,
    t.MetricSetRow.uncertainties,
)
WITHOUT_LONG_PARTS: Any = WHOLE_RUNS.options(
    *(
        defer(getattr(t.MetricSetRow, name), raiseload=True)
        for name in ("points", "curves", "uncertainties", "motor", "segments")
    )
)


def load_run_views(
    session: Session,
    *,
    run_ids: Sequence[int],
    with_trace: bool,
    with_journal: bool = False,
) -> dict[int, RunView]:
    """Whole runs by key, whoever asks: visibility is the caller's matter."""
    rows = session.execute(WHOLE_RUNS.where(t.RunRow.id.in_(run_ids))).all()
    sets = [(row.MetricSetRow, row.RunRow.kind) for row in rows if row.MetricSetRow is not None]
    traces = _traces(session, [made.id for made, _ in sets]) if with_trace else {}
    reductions = _reductions(session, sets, traces=traces, with_model=True)
    journals = {
        row.RunRow.id: journal_of(session, subject_kind="run", subject_id=row.RunRow.id)
        for row in rows
        if with_journal
    }
    return _views(session, rows, reductions, journals)


def load_compared_runs(session: Session, *, run_ids: Sequence[int]) -> dict[int, RunView]:
    """Runs as a comparison shows them: without trace, segments, motor model and budgets."""
    rows = session.execute(WITHOUT_LONG_PARTS.where(t.RunRow.id.in_(run_ids))).all()
    sets = [(row.MetricSetRow, row.RunRow.kind) for row in rows if row.MetricSetRow is not None]
    kept = kept_sets(session)
    keys = {made.id: key_of(made) for made, _ in sets}
    by_key = kept.those_of(list(keys.values()))
    reductions = {one: by_key[key] for one, key in keys.items() if key in by_key}
    kinds = {made.id: kind for made, kind in sets if made.id not in reductions}
    if kinds:
        long_parts = session.execute(_COMPARED.where(t.MetricSetRow.id.in_(kinds))).all()
        read = [(made, kinds[made.id]) for made in long_parts]
        made_now = _reductions(session, read, traces={}, with_model=False)
        kept.keep({keys[one]: reduction for one, reduction in made_now.items()})
        reductions |= made_now
    return _views(session, rows, reductions, {})


def _reductions(
    session: Session,
    sets: Sequence[tuple[Any, str]],
    *,
    traces: Mapping[int, dict[str, Any]],
    with_model: bool,
) -> dict[int, Reduction]:
    """The reductions of some sets, each with its run's kind, by their key."""
    set_ids = [made.id for made, _ in sets]
    metrics = metrics_of_sets(session, set_ids)
    findings = findings_of_sets(session, set_ids)
    return {
        made.id: reduction_of(
            made,
            kind=kind,
            metrics=metrics[made.id],
            findings=tuple(findings[made.id]),
            trace=traces.get(made.id),
            with_model=with_model,
        )
        for made, kind in sets
    }


def _views(
    session: Session,
    rows: Sequence[Row[Any]],
    reductions: Mapping[int, Reduction],
    journals: Mapping[int, tuple[JournalRow, ...]],
) -> dict[int, RunView]:
    claims = claims_of(session, [row.ApplianceRow.id for row in rows])
    views = {}
    for row in rows:
        run, made = row.RunRow, row.MetricSetRow
        reduction = None if made is None else reductions[made.id]
        journal = journals.get(run.id, ())
        views[run.id] = _view(row, reduction, claims[row.ApplianceRow.id], journal)
    return views


def shown_brake_run(session: Session, *, appliance_id: str) -> RunView | None:
    """The run that stands for an appliance: its newest published brake run. Two statements."""
    run_id = session.execute(
        select(t.ListingRow.run_id)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ListingRow.appliance_id)
        .where(t.ApplianceRow.public_id == appliance_id)
    ).scalar_one_or_none()
    if run_id is None:
        return None
    return load_run_views(session, run_ids=[run_id], with_trace=False)[run_id]


def claims_of(session: Session, appliance_ids: Sequence[int]) -> dict[int, tuple[Claim, ...]]:
    """What is printed about some appliances, in the order it was noted. One statement."""
    found: dict[int, list[Claim]] = {key: [] for key in appliance_ids}
    claim = t.ClaimRow
    rows = session.execute(
        select(claim).where(claim.appliance_id.in_(list(found))).order_by(claim.id)
    ).scalars()
    for row in rows:
        found[row.appliance_id].append(claim_of(row))
    return {key: tuple(items) for key, items in found.items()}


def is_stale(kind: str, method_version: str) -> bool:
    """Whether figures were made by another method than today's."""
    today = METHOD_VERSIONS.get(RunKind(kind))
    return today is not None and method_version != today


def metrics_of_sets(
    session: Session, set_ids: Sequence[int]
) -> dict[int, dict[MetricName, Metric]]:
    """The figures of some sets, without their budgets. One statement."""
    found: dict[int, dict[MetricName, Metric]] = {key: {} for key in set_ids}
    metric = t.MetricRow
    columns = (
        metric.metric_set_id,
        metric.name,
        metric.value,
        metric.standard_uncertainty,
        metric.lower_bound,
        metric.reason,
    )
    for row in session.execute(select(*columns).where(metric.metric_set_id.in_(set_ids))):
        one = metric_of(row)
        found[row.metric_set_id][one.name] = one
    # In the order of the words, whatever order the database keeps.
    return {
        key: {name: metrics[name] for name in MetricName if name in metrics}
        for key, metrics in found.items()
    }


def findings_of_sets(session: Session, set_ids: Sequence[int]) -> dict[int, list[Finding]]:
    """The findings of some sets, in their order. One statement."""
    found: dict[int, list[Finding]] = defaultdict(list)
    finding = t.FindingRow
    rows = session.execute(
        select(finding.metric_set_id, finding.code, finding.severity, finding.evidence)
        .where(finding.metric_set_id.in_(set_ids))
        .order_by(finding.metric_set_id, finding.position)
    )
    for row in rows:
        found[row.metric_set_id].append(finding_of(row))
    return found


def _traces(session: Session, set_ids: Sequence[int]) -> dict[int, dict[str, Any]]:
    trace = t.MetricSetTraceRow
    rows = session.execute(
        select(trace.metric_set_id, trace.trace).where(trace.metric_set_id.in_(set_ids))
    )
    return {row.metric_set_id: row.trace for row in rows}


def _view(
    row: Row[Any],
    reduction: Reduction | None,
    claims: tuple[Claim, ...],
    journal: tuple[JournalRow, ...],
) -> RunView:
    run, revision, appliance = row.RunRow, row.RunRevisionRow, row.ApplianceRow
    specimen, rig = row.SpecimenRow, row.RigRevisionRow
    return RunView(
        public_id=run.public_id,
        state=RunState(run.state),
        revision=revision.number,
        appliance=Stored(appliance.public_id, appliance.slug, appliance_of(appliance)),
        plate=plate_of(row.PlateRevisionRow),
        claims=claims,
        specimen=Stored(specimen.public_id, "", specimen_of(specimen)),
        rig=Stored(row.rig_public_id, row.rig_slug, rig_of(rig), revision=rig.number),
        details=details_of(revision, kind=run.kind),
        tester=row.tester_name,
        tester_id=row.tester_public_id,
        file=StoredFile(revision.file_sha256, revision.file_name, row.file_bytes),
        columns=columns_of(revision.columns),
        dialect=revision.dialect,
        n_rows=revision.n_rows or 0,
        reduction=reduction,
        is_stale=reduction is not None and is_stale(run.kind, reduction.method_version),
        failure=run.failure,
        created_at=run.created_at,
        updated_at=run.updated_at,
        journal=journal,
    )
