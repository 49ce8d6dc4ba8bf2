"""All figures of a worked brake run, each with a value or the reason why not."""

from dataclasses import replace

import numpy as np

from server.model.bench import Plate, Rig
from server.model.kind_metrics import METRICS_OF
from server.model.measured import Metric
from server.model.words import MetricName, RunKind
from server.reduction.metrics import (
    NO_LINE,
    Budget,
    efficiency_metrics,
    free_metrics,
)
from server.reduction.motors.describe import law_of_points
from server.reduction.peak_figures import peak_metrics, place_by_law, reach_of_orders
from server.reduction.points import input_power
from server.reduction.rated_figures import rated_metrics, reach_at_rated
from server.reduction.runwide import (
    best_dwell,
    momentary_metrics,
    rotor_held,
    shown_without_line,
    supply_sag,
)
from server.reduction.worked import Worked

M = MetricName


def all_figures(worked: Worked, plate: Plate, rig: Rig, ambient_k: float | None = None) -> Worked:
    """Every figure of a worked run, with its first-order uncertainty or its reason."""
    worked = with_place(worked, plate, rig, ambient_k)
    budget = Budget(
        rig=rig,
        torque_channel=worked.signals.torque_channel,
        u_zero_nm=worked.zero.u_nm,
        is_input_metered=worked.signals.power is not None,
        is_dc=worked.is_dc,
    )
    metrics: dict[MetricName, Metric] = {}
    peak = None
    if worked.line is not None:
        found, peak = peak_metrics(worked.line, budget, worked.place)
        metrics |= found | efficiency_metrics(worked.line, budget)
    else:
        metrics |= shown_without_line(worked.points, budget)
    metrics |= rated_metrics(worked.line, plate, budget) | free_metrics(worked.free, budget)
    has_dwells = any(p.is_dwell for p in worked.points)
    metrics |= momentary_metrics(worked.momentary, rig, budget, has_dwells=has_dwells)
    metrics[M.SHAFT_POWER_BEST_DWELL] = best_dwell(worked.points, budget)
    metrics[M.SUPPLY_SAG] = supply_sag(worked.points)
    power = input_power(worked.blocks, is_dc=worked.is_dc)
    metrics[M.INPUT_ROTOR_HELD] = rotor_held(worked.blocks, worked.states, power)
    reason = NO_LINE if worked.points else "the motor was never seen running steadily or in a sweep"
    return replace(
        worked,
        peak=peak,
        rated_reach=reach_at_rated(worked.line, worked.points, plate),
        metrics=complete_brake(metrics, reason),
    )


def with_place(worked: Worked, plate: Plate, rig: Rig, ambient_k: float | None) -> Worked:
    """The motor's law, and where the highest power stands by it or how surely by the curve."""
    law = law_of_points(
        worked.points,
        plate=plate,
        rig=rig,
        torque_channel=worked.signals.torque_channel,
        ambient_k=ambient_k,
    )
    place = place_by_law(law, worked.line, worked.points)
    reach = 0.0
    if worked.line is not None and place is None:
        reach = reach_of_orders(worked.line, worked.points)
    return replace(worked, law=law, place=place, order_reach_rad_s=reach)


def complete_brake(metrics: dict[MetricName, Metric], reason: str) -> dict[MetricName, Metric]:
    """Every metric of a run, in the order of `MetricName`; none with a value that is not finite."""
    complete: dict[MetricName, Metric] = {}
    for name in METRICS_OF[RunKind.BRAKE]:
        metric = metrics.get(name, Metric.missing(name, reason))
        u = metric.standard_uncertainty
        if metric.value is not None and not np.isfinite(metric.value):
            metric = Metric.missing(name, "the fit gives no finite value")
        elif u is not None and not np.isfinite(u):
            metric = replace(metric, standard_uncertainty=None)
        complete[name] = metric
    return complete
