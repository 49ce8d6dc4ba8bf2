"""The catalogue row of an appliance, rewritten in the transaction that changes what it shows."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from sqlalchemy import delete, func, insert, select
from sqlalchemy.orm import Session

from server.model.measured import Metric
from server.model.words import MetricName, RunKind, RunState
from server.store.identity import match_key, plain_words
from server.store.journal import now
from server.store.shapes import figures_value, metric_of
from server.store.tables import (
    ApplianceRow,
    ClaimRow,
    ListingRow,
    ListingWordRow,
    MetricRow,
    PlateRevisionRow,
    RunRevisionRow,
    RunRow,
)

# The figures a list shows, each with a column to sort and filter by.
LISTED = (
    MetricName.SHAFT_POWER_AT_RATED_CURRENT,
    MetricName.SHAFT_POWER_MAX_STEADY,
    MetricName.SHAFT_POWER_MAX_MOMENTARY,
    MetricName.EFFICIENCY_MAX,
    MetricName.FREE_SPEED,
)


@dataclass(frozen=True, slots=True)
class Ratio:
    value: float | None = None
    standard_uncertainty: float | None = None


def rewrite_listing(session: Session, *, appliance_id: int) -> None:
    """Make the listing row of an appliance anew from what the tables say now.

    The appliance row is locked, so that two writers of one appliance follow each other.
    """
    session.flush()
    appliance = lock_appliance(session, appliance_id=appliance_id)
    session.execute(delete(ListingWordRow).where(ListingWordRow.appliance_id == appliance_id))
    session.execute(delete(ListingRow).where(ListingRow.appliance_id == appliance_id))
    if appliance.merged_into_id is not None:
        return
    values = listing_values(session, appliance)
    session.execute(insert(ListingRow).values(**values))
    words = search_words(appliance, merged=merged_into(session, appliance))
    session.execute(
        insert(ListingWordRow), [{"word": word, "appliance_id": appliance_id} for word in words]
    )


def lock_appliance(session: Session, *, appliance_id: int) -> ApplianceRow:
    """Wait for other writers of one appliance; taken before anything of it is written.

    "NO KEY UPDATE", so that rows that refer to the appliance can still be inserted: a full lock
    would deadlock with them. On SQLite there is one writer anyway.
    """
    return session.execute(
        select(ApplianceRow).where(ApplianceRow.id == appliance_id).with_for_update(key_share=True)
    ).scalar_one()


def search_words(appliance: ApplianceRow, *, merged: Sequence[ApplianceRow] = ()) -> list[str]:
    """The words an appliance is found by, those of what was merged into it among them; never
    empty."""
    found: set[str] = set()
    for one in (appliance, *merged):
        parts = (one.maker, one.model, one.model_number or "", one.category)
        found |= set(plain_words(" ".join(parts)))
    return sorted(found) or ["unnamed"]


def merged_into(session: Session, appliance: ApplianceRow) -> Sequence[ApplianceRow]:
    """What was merged into an appliance, step by step."""
    found: dict[int, ApplianceRow] = {}
    todo = [appliance.id]
    while todo:
        rows = session.scalars(
            select(ApplianceRow).where(ApplianceRow.merged_into_id.in_(todo))
        ).all()
        todo = [row.id for row in rows if row.id not in found and row.id != appliance.id]
        found |= {row.id: row for row in rows if row.id in todo}
    return tuple(found.values())


def listing_values(session: Session, appliance: ApplianceRow) -> dict[str, Any]:
    printed_w, printed_typed = _printed_power(session, appliance.id)
    run = _shown_run(session, appliance.id)
    metrics = _listed_metrics(session, run.current_set_id) if run is not None else {}
    ratio = ratio_of(metrics.get(MetricName.SHAFT_POWER_MAX_STEADY), printed_w)
    counts = _counts(session, appliance.id)
    sortable = {name.value: metrics[name].value if name in metrics else None for name in LISTED}
    return {
        "appliance_id": appliance.id,
        "public_id": appliance.public_id,
        "slug": appliance.slug,
        "maker": appliance.maker,
        "model": appliance.model,
        "model_number": appliance.model_number,
        "category": appliance.category,
        "name_key": match_key(f"{appliance.maker} {appliance.model}"),
        "maker_key": appliance.maker_key,
        "printed_power_w": printed_w,
        "printed_power_typed": printed_typed,
        "n_runs": counts[0],
        "n_specimens": counts[1],
        "n_testers": counts[2],
        "run_id": run.id if run is not None else None,
        "run_public_id": run.public_id if run is not None else None,
        "metric_set_id": run.current_set_id if run is not None else None,
        **sortable,
        "ratio": ratio.value,
        "ratio_standard_uncertainty": ratio.standard_uncertainty,
        "figures": figures_value(metrics),
        "updated_at": run.published_at if run is not None else appliance.created_at,
        "rewritten_at": now(),
    }


def ratio_of(metric: Metric | None, printed_w: float | None) -> Ratio:
    """Highest steady shaft power over printed power; the printed figure has no uncertainty."""
    if metric is None or metric.value is None or not printed_w:
        return Ratio()
    u = metric.standard_uncertainty
    return Ratio(metric.value / printed_w, u / printed_w if u is not None else None)


def _printed_power(session: Session, appliance_id: int) -> tuple[float | None, str | None]:
    """The highest power claimed in print, else the plate's power."""
    claim = session.execute(
        select(ClaimRow.value_si, ClaimRow.value_typed)
        .where(ClaimRow.appliance_id == appliance_id, ClaimRow.quantity == "power")
        .order_by(ClaimRow.value_si.desc(), ClaimRow.id)
        .limit(1)
    ).first()
    if claim is not None:
        return claim.value_si, claim.value_typed
    plate = session.execute(
        select(PlateRevisionRow.power_w, PlateRevisionRow.typed)
        .where(PlateRevisionRow.appliance_id == appliance_id)
        .order_by(PlateRevisionRow.number.desc())
        .limit(1)
    ).first()
    if plate is None or plate.power_w is None:
        return None, None
    typed = plate.typed.get("power") or plate.typed.get("power_w")
    return plate.power_w, typed or f"{plate.power_w:g} W"


def _shown_run(session: Session, appliance_id: int) -> RunRow | None:
    """The run whose figures stand for the appliance: its newest published brake run."""
    return session.execute(
        select(RunRow)
        .where(
            RunRow.appliance_id == appliance_id,
            RunRow.state == RunState.PUBLISHED,
            RunRow.kind == RunKind.BRAKE,
        )
        .order_by(RunRow.created_at.desc(), RunRow.id.desc())
        .limit(1)
    ).scalar_one_or_none()


def _listed_metrics(session: Session, metric_set_id: int | None) -> dict[MetricName, Metric]:
    rows = session.execute(
        select(MetricRow).where(
            MetricRow.metric_set_id == metric_set_id, MetricRow.name.in_(LISTED)
        )
    ).scalars()
    found = {metric.name: metric for metric in map(metric_of, rows)}
    return {name: found[name] for name in LISTED if name in found}


def _counts(session: Session, appliance_id: int) -> tuple[int, int, int]:
    row = session.execute(
        select(
            func.count(RunRow.id),
            func.count(RunRevisionRow.specimen_id.distinct()),
            func.count(RunRow.tester_id.distinct()),
        )
        .join(RunRevisionRow, RunRevisionRow.id == RunRow.current_revision_id)
        .where(RunRow.appliance_id == appliance_id, RunRow.state == RunState.PUBLISHED)
    ).one()
    return row[0], row[1], row[2]
