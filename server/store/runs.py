"""Runs as readers see them."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import ColumnElement, Select, false, func, or_, select, true
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.measured import Metric
from server.model.people import MAINTAIN
from server.model.views import Page, RunRow, RunView, Tester
from server.model.words import MetricName, RunState
from server.store import tables as t
from server.store.cursor import newest_first
from server.store.listing import LISTED
from server.store.run_views import load_run_views
from server.store.shapes import metric_of

MAX_PAGE = 200

# Built once: putting it together anew costs more than running it.
RUN_ROWS: Select[*tuple[Any, ...]] = (
    select(
        t.RunRow.id,
        t.RunRow.public_id,
        t.RunRow.state,
        t.RunRow.kind,
        t.RunRow.created_at,
        t.RunRow.current_set_id,
        t.RunRow.appliance_id.label("appliance_key"),
        t.RunRevisionRow.tested_on,
        t.TesterRow.name.label("tester"),
        t.SpecimenRow.label.label("specimen"),
        t.RigRevisionRow.name.label("rig"),
        t.ApplianceRow.public_id.label("appliance_id"),
        t.ApplianceRow.slug,
        t.ApplianceRow.maker,
        t.ApplianceRow.model,
    )
    .join(t.RunRevisionRow, t.RunRevisionRow.id == t.RunRow.current_revision_id)
    .join(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
    .join(t.TesterRow, t.TesterRow.id == t.RunRow.tester_id)
    .join(t.SpecimenRow, t.SpecimenRow.id == t.RunRevisionRow.specimen_id)
    .join(t.RigRevisionRow, t.RigRevisionRow.id == t.RunRevisionRow.rig_revision_id)
)


def visible(viewer: Tester | None) -> ColumnElement[bool]:
    """The runs that a viewer may see: published ones, their own, and all for a maintainer.

    "IS TRUE" keeps planners from the index on states: nearly all runs are published, and the
    other conditions narrow far better.
    """
    is_public = t.RunRow.state == RunState.PUBLISHED
    if viewer is None:
        return is_public.is_(true())
    if MAINTAIN in viewer.scopes:
        return true()
    return or_(is_public, t.RunRow.tester_id == viewer.id).is_(true())


def run_view(
    session: Session, *, public_id: str, viewer: Tester | None, with_trace: bool = True
) -> RunView:
    """All that a run's page shows. Raises NotFound for one that the viewer may not see.

    `with_trace`: the thinned recording as well, a third of what there is to decode.
    """
    found = session.execute(
        select(t.RunRow.id).where(t.RunRow.public_id == public_id, visible(viewer))
    ).scalar_one_or_none()
    if found is None:
        raise NotFound(f"There is no run {public_id}.")
    views = load_run_views(session, run_ids=[found], with_trace=with_trace, with_journal=True)
    return views[found]


def list_runs(
    session: Session,
    *,
    viewer: Tester | None = None,
    appliance_id: str | None = None,
    tester_id: str | None = None,
    specimen_id: str | None = None,
    state: RunState | None = None,
    cursor: str | None = None,
    limit: int = 50,
) -> Page[RunRow]:
    """Runs, newest first. The ids are public ones."""
    run = t.RunRow
    query = RUN_ROWS.where(visible(viewer))
    if appliance_id is not None:
        query = query.where(run.appliance_id == _key(t.ApplianceRow, appliance_id))
    if tester_id is not None:
        query = query.where(run.tester_id == _key(t.TesterRow, tester_id))
    if specimen_id is not None:
        query = query.where(t.RunRevisionRow.specimen_id == _key(t.SpecimenRow, specimen_id))
    if state is not None:
        query = query.where(run.state == state)
    query, page = newest_first(
        query, run.created_at, run.id, cursor=cursor, limit=min(max(limit, 1), MAX_PAGE)
    )
    rows, next_cursor = page(session.execute(query).all())
    metrics = listed_metrics(session, [row.current_set_id for row in rows])
    return Page(tuple(_run_row(row, metrics) for row in rows), next_cursor)


def rows_of_appliances(
    session: Session, appliance_ids: Sequence[int], *, viewer: Tester | None, limit: int = MAX_PAGE
) -> dict[int, tuple[RunRow, ...]]:
    """The newest visible runs of some appliances, for their pages. Two statements."""
    run = t.RunRow
    place = func.row_number().over(
        partition_by=run.appliance_id, order_by=(run.created_at.desc(), run.id.desc())
    )
    # Numbered within each appliance: ordered over all of them, SQLite walks every run there is.
    newest = (
        select(run.id, place.label("place"))
        .where(run.appliance_id.in_(appliance_ids), visible(viewer))
        .subquery()
    )
    wanted = select(newest.c.id).where(newest.c.place <= limit)
    rows = sorted(
        session.execute(RUN_ROWS.where(run.id.in_(wanted))),
        key=lambda row: (row.created_at, row.id),
        reverse=True,
    )
    metrics = listed_metrics(session, [row.current_set_id for row in rows])
    found: dict[int, list[RunRow]] = {key: [] for key in appliance_ids}
    for row in rows:
        found[row.appliance_key].append(_run_row(row, metrics))
    return {key: tuple(items) for key, items in found.items()}


def listed_metrics(
    session: Session, set_ids: Sequence[int | None], names: Sequence[MetricName] = LISTED
) -> dict[int, dict[MetricName, Metric]]:
    """The figures that lists show, or those named, by metric set. One statement."""
    wanted = [key for key in set_ids if key is not None]
    found: dict[int, dict[MetricName, Metric]] = {key: {} for key in wanted}
    metric = t.MetricRow
    rows = session.execute(
        select(
            metric.metric_set_id,
            metric.name,
            metric.value,
            metric.standard_uncertainty,
            metric.lower_bound,
            metric.reason,
        ).where(metric.metric_set_id.in_(wanted) if wanted else false(), metric.name.in_(names))
    )
    for row in rows:
        one = metric_of(row)
        found[row.metric_set_id][one.name] = one
    return found


def _key(table: Any, public_id: str) -> Any:
    return select(table.id).where(table.public_id == public_id).scalar_subquery()


def _run_row(row: Any, metrics: dict[int, dict[MetricName, Metric]]) -> RunRow:
    return RunRow(
        public_id=row.public_id,
        state=RunState(row.state),
        kind=row.kind,
        tested_on=row.tested_on,
        created_at=row.created_at,
        tester=row.tester,
        specimen=row.specimen,
        rig=row.rig,
        appliance_id=row.appliance_id,
        appliance_slug=row.slug,
        appliance_name=f"{row.maker} {row.model}",
        metrics=metrics.get(row.current_set_id, {}),
    )
