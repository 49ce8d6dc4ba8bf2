"""Published runs that a run can be held against: of its appliance, else of its category."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session, aliased

from server.model.pooled import PublishedRun
from server.model.words import MetricName, RunState
from server.store import tables as t
from server.store.pooled import PUBLISHED_RUNS, published_run
from server.store.runs import listed_metrics

MAX_RUNS = 200


def runs_of_same_appliance(
    session: Session, *, run_id: str, names: Sequence[MetricName]
) -> tuple[PublishedRun, ...]:
    """The other published runs of the run's appliance and kind, newest first. Two statements."""
    own = aliased(t.RunRow)
    query = (
        PUBLISHED_RUNS.join(
            own, (own.appliance_id == t.RunRow.appliance_id) & (own.kind == t.RunRow.kind)
        )
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
    query = (
        PUBLISHED_RUNS.where(t.RunRow.id.in_(newest)).order_by(t.RunRow.id.desc()).limit(MAX_RUNS)
    )
    return _with_metrics(session, session.execute(query).all(), names)


def _with_metrics(
    session: Session, rows: Sequence[Any], names: Sequence[MetricName]
) -> tuple[PublishedRun, ...]:
    if not rows:
        return ()
    metrics = listed_metrics(session, [row.set_id for row in rows], names)
    return tuple(published_run(row, metrics[row.set_id]) for row in rows)
