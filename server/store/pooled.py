"""The runs whose figures are pooled: an appliance's published brake runs, and no others."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from sqlalchemy import Row, Select, bindparam, select
from sqlalchemy.orm import Session

from server.model.measured import Metric
from server.model.pooled import HEADLINE, PublishedRun
from server.model.words import FindingCode, MetricName, RunKind
from server.store import tables as t
from server.store.runs import visible
from server.store.shapes import METRIC_BY_WORD, metric_of, with_uncertainty


def _with_merged() -> Any:
    """Each appliance asked for and all that were merged into it, through any number of steps."""
    appliance = t.ApplianceRow
    asked = select(appliance.id.label("id"), appliance.public_id.label("root_id")).where(
        appliance.public_id.in_(bindparam("public_ids", expanding=True))
    )
    tree = asked.cte("with_merged", recursive=True)
    # UNION, not UNION ALL: a circle of merges ends by itself.
    tree = tree.union(
        select(appliance.id, tree.c.root_id).join(tree, appliance.merged_into_id == tree.c.id)
    )
    return select(tree.c.id, tree.c.root_id)


# All published runs with what their figures are pooled by.
PUBLISHED_RUNS: Select[*tuple[Any, ...]] = (
    select(
        t.RunRow.id,
        t.RunRow.appliance_id,
        t.RunRow.created_at,
        t.RunRow.public_id,
        t.RunRow.current_set_id.label("set_id"),
        t.TesterRow.name.label("tester"),
        t.TesterRow.public_id.label("tester_id"),
        t.SpecimenRow.public_id.label("specimen_id"),
        t.SpecimenRow.label.label("specimen"),
        t.SpecimenRow.condition,
        t.RunRevisionRow.tested_on,
        t.RigRevisionRow.instruments,
    )
    .join(t.RunRevisionRow, t.RunRevisionRow.id == t.RunRow.current_revision_id)
    .join(t.SpecimenRow, t.SpecimenRow.id == t.RunRevisionRow.specimen_id)
    .join(t.RigRevisionRow, t.RigRevisionRow.id == t.RunRevisionRow.rig_revision_id)
    .join(t.TesterRow, t.TesterRow.id == t.RunRow.tester_id)
    .where(visible(None))
)
# Built once: putting them together anew costs more than running them.
_MERGED = _with_merged()
_RUNS = PUBLISHED_RUNS.where(
    t.RunRow.appliance_id.in_(bindparam("appliance_ids", expanding=True)),
    t.RunRow.kind == RunKind.BRAKE,
)
# With the long part of a metric set, read only where it is shown.
_WHOLE_RUNS = _RUNS.add_columns(t.MetricSetRow.uncertainties, t.MetricSetRow.method_version).join(
    t.MetricSetRow, t.MetricSetRow.id == t.RunRow.current_set_id
)
_METRICS = select(
    t.MetricRow.metric_set_id,
    t.MetricRow.name,
    t.MetricRow.value,
    t.MetricRow.standard_uncertainty,
    t.MetricRow.lower_bound,
    t.MetricRow.reason,
).where(
    t.MetricRow.metric_set_id.in_(bindparam("set_ids", expanding=True)),
    t.MetricRow.name.in_(HEADLINE),
)


def published_runs(
    session: Session, *, public_ids: Sequence[str], is_whole: bool = False
) -> dict[str, tuple[PublishedRun, ...]]:
    """Published brake runs of some appliances, oldest first, with their headline figures.

    Runs that were withdrawn, returned or are waiting never count, whoever asks, nor do those of
    other kinds. Runs of appliances merged into one of these do. Three statements; a fourth where
    the runs are asked for whole, with their figures' budgets and whether the supply was off.
    """
    found: dict[str, list[PublishedRun]] = {public_id: [] for public_id in public_ids}
    query = _WHOLE_RUNS if is_whole else _RUNS
    # A statement of its own: joined with the runs, SQLite walks every run there is; so it may for
    # their order.
    merged = session.execute(_MERGED, {"public_ids": list(found)})
    roots: dict[int, list[str]] = defaultdict(list)
    for row in merged:
        roots[row.id].append(row.root_id)
    rows = sorted(
        session.execute(query, {"appliance_ids": list(roots)}),
        key=lambda row: (row.created_at, row.id),
    )
    set_ids = [row.set_id for row in rows]
    metrics = _headline_metrics(session, set_ids)
    supply_off = _supply_off(session, set_ids) if is_whole and rows else frozenset()
    for row in rows:
        run = published_run(row, metrics[row.set_id])
        if is_whole:
            run = _whole(run, row, is_supply_off=row.set_id in supply_off)
        for root_id in roots[row.appliance_id]:
            found[root_id].append(run)
    return {public_id: tuple(runs) for public_id, runs in found.items()}


def _headline_metrics(
    session: Session, set_ids: Sequence[int]
) -> dict[int, dict[MetricName, Metric]]:
    found: dict[int, dict[MetricName, Metric]] = {key: {} for key in set_ids}
    for row in session.execute(_METRICS, {"set_ids": list(found)}):
        found[row.metric_set_id][METRIC_BY_WORD[row.name]] = metric_of(row)
    return found


def _supply_off(session: Session, set_ids: Sequence[int]) -> frozenset[int]:
    finding = t.FindingRow
    rows = session.execute(
        select(finding.metric_set_id).where(
            finding.metric_set_id.in_(set_ids), finding.code == FindingCode.SUPPLY_OFF_PLATE
        )
    )
    return frozenset(rows.scalars())


def published_run(row: Row[Any], metrics: Mapping[MetricName, Metric]) -> PublishedRun:
    return PublishedRun(
        public_id=row.public_id,
        tester=row.tester,
        tester_id=row.tester_id,
        specimen_id=row.specimen_id,
        specimen=row.specimen,
        condition=row.condition,
        tested_on=row.tested_on,
        instruments={i["channel"]: i["name"] for i in row.instruments if i.get("name")},
        metrics=metrics,
    )


def _whole(run: PublishedRun, row: Row[Any], *, is_supply_off: bool) -> PublishedRun:
    stored = row.uncertainties
    metrics = {n: with_uncertainty(m, stored.get(n.value)) for n, m in run.metrics.items()}
    return replace(
        run,
        metrics=metrics,
        is_supply_off=is_supply_off,
        method_version=row.method_version,
    )
