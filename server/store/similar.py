"""Published runs that a run can be held against: of its appliance, else of its category."""

from collections import defaultdict
from collections.abc import Sequence
from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from server.model.measured import Metric
from server.model.pooled import PublishedRun
from server.model.words import MetricName, RunState
from server.store import tables as t
from server.store.shapes import METRIC_BY_WORD, metric_of

MAX_RUNS = 200

_RUNS: Select[*tuple[Any, ...]] = (
    select(
        t.RunRow.public_id,
        t.RunRow.current_set_id.label("set_id"),
        t.TesterRow.name.label("tester"),
        t.TesterRow.public_id.label("tester_id"),
        t.SpecimenRow.public_id.label("specimen_id"),
        t.SpecimenRow.label.label("specimen"),
        t.SpecimenRow.condition,
        t.RunRevisionRow.tested_on,
        t.RunRow.appliance_id,
    )
    .join(t.RunRevisionRow, t.RunRevisionRow.id == t.RunRow.current_revision_id)
    .join(t.SpecimenRow, t.SpecimenRow.id == t.RunRevisionRow.specimen_id)
    .join(t.TesterRow, t.TesterRow.id == t.RunRow.tester_id)
    .where(t.RunRow.state == RunState.PUBLISHED)
)


def runs_of_same_appliance(
    session: Session, *, run_id: str, names: Sequence[MetricName]
) -> tuple[PublishedRun, ...]:
    """The other published runs of the run's appliance and kind, newest first. Two statements."""
    own = aliased(t.RunRow)
    query = (
        _RUNS.join(own, (own.appliance_id == t.RunRow.appliance_id) & (own.kind == t.RunRow.kind))
        .where(own.public_id == run_id, t.RunRow.id != own.id)
        .order_by(t.RunRow.created_at.desc(), t.RunRow.id.desc())
        .limit(MAX_RUNS)
    )
    return _with_metrics(session, session.execute(query).all(), names)


def runs_of_category(
    session: Session, *, run_id: str, names: Sequence[MetricName]
) -> tuple[PublishedRun, ...]:
    """The newest published run of the same kind of each other appliance of the run's category."""
    own, own_appliance = aliased(t.RunRow), aliased(t.ApplianceRow)
    place = func.row_number().over(
        partition_by=t.RunRow.appliance_id,
        order_by=(t.RunRow.created_at.desc(), t.RunRow.id.desc()),
    )
    numbered = (
        select(t.RunRow.id, place.label("place"))
        .join(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
        .join(own, own.kind == t.RunRow.kind)
        .join(own_appliance, own_appliance.id == own.appliance_id)
        .where(
            own.public_id == run_id,
            t.ApplianceRow.category == own_appliance.category,
            t.RunRow.appliance_id != own.appliance_id,
            t.RunRow.state == RunState.PUBLISHED,
        )
        .subquery()
    )
    newest = select(numbered.c.id).where(numbered.c.place == 1)
    query = _RUNS.where(t.RunRow.id.in_(newest)).order_by(t.RunRow.id.desc()).limit(MAX_RUNS)
    return _with_metrics(session, session.execute(query).all(), names)


def _with_metrics(
    session: Session, rows: Sequence[Any], names: Sequence[MetricName]
) -> tuple[PublishedRun, ...]:
    if not rows:
        return ()
    metric = t.MetricRow
    found: dict[int, dict[MetricName, Metric]] = defaultdict(dict)
    for row in session.execute(
        select(
            metric.metric_set_id,
            metric.name,
            metric.value,
            metric.standard_uncertainty,
            metric.lower_bound,
            metric.reason,
        ).where(
            metric.metric_set_id.in_([row.set_id for row in rows]),
            metric.name.in_([name.value for name in names]),
        )
    ):
        found[row.metric_set_id][METRIC_BY_WORD[row.name]] = metric_of(row)
    return tuple(
        PublishedRun(
            public_id=row.public_id,
            tester=row.tester,
            tester_id=row.tester_id,
            specimen_id=row.specimen_id,
            specimen=row.specimen,
            condition=row.condition,
            tested_on=row.tested_on,
            instruments={},
            metrics=found[row.set_id],
        )
        for row in rows
    )
