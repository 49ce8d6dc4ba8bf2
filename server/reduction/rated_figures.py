"""What is read off the load line at the plate's current."""

import math
from collections.abc import Sequence

import numpy as np

from server.model.bench import Plate
from server.model.measured import Metric
from server.model.results import LoadPoint
from server.model.words import MetricName
from server.reduction.loadline import LoadLine, scored_power
from server.reduction.metrics import (
    NO_LINE,
    Budget,
    add_figure,
    no_current,
    no_input,
    no_power_factor,
    read_at,
)
from server.reduction.polynomial import Polynomial

M = MetricName
RATED = (
    M.SHAFT_POWER_AT_RATED_CURRENT,
    M.TORQUE_AT_RATED_CURRENT,
    M.SPEED_AT_RATED_CURRENT,
    M.EFFICIENCY_AT_RATED_CURRENT,
    M.POWER_FACTOR_AT_RATED_CURRENT,
    M.INPUT_POWER_AT_RATED_CURRENT,
)
# A curve of power whose QAICc is that near to the least may be the true one as well.
AS_GOOD = 7.0


def rated_metrics(line: LoadLine | None, plate: Plate, budget: Budget) -> dict[MetricName, Metric]:
    """Everything at the plate's current, on the branch that rises from free running."""
    if plate.current_a is None:
        return _all_missing("the plate current is not given")
    if line is None:
        return _all_missing(NO_LINE)
    if line.current is None:
        return _all_missing(no_current(line))
    at_x = _place_of(line.current, plate.current_a, line)
    if isinstance(at_x, str):
        return _all_missing(at_x)
    slope = abs(float(line.current.slope_at(at_x)))
    u_i = math.hypot(
        float(line.current.u_at(at_x)[0]), plate.current_a * budget.current(plate.current_a)
    )
    u_x = min(u_i / slope, (line.x_high - line.x_low) / 4) if slope > 0 else 0.0
    at = read_at(line, at_x, u_x, budget)
    metrics: dict[MetricName, Metric] = {}
    no_pf = no_power_factor(line)
    add_figure(metrics, M.SHAFT_POWER_AT_RATED_CURRENT, at.shaft_w, at.u["shaft"], "")
    add_figure(metrics, M.TORQUE_AT_RATED_CURRENT, at.torque_nm, at.u["torque"], "")
    add_figure(metrics, M.SPEED_AT_RATED_CURRENT, at.speed_rad_s, at.u["speed"], "")
    add_figure(
        metrics,
        M.EFFICIENCY_AT_RATED_CURRENT,
        at.efficiency,
        at.u.get("efficiency"),
        no_input(line),
    )
    add_figure(metrics, M.POWER_FACTOR_AT_RATED_CURRENT, at.power_factor, at.u.get("pf"), no_pf)
    add_figure(
        metrics, M.INPUT_POWER_AT_RATED_CURRENT, at.input_w, at.u.get("input"), no_input(line)
    )
    return metrics


def _place_of(curve: Polynomial, current_a: float, line: LoadLine) -> float | str:
    """Where along the load the current first reaches a value; the reason why nowhere."""
    x = line.grid()
    current = curve.at(x)
    above = np.flatnonzero(current >= current_a)
    if above.size == 0:
        return f"the current reached {current.max():.4g} A, the plate says {current_a:.4g} A"
    i = int(above[0])
    if i == 0:
        if current[0] > current_a:
            return (
                f"the current was never below {current[0]:.4g} A, the plate says {current_a:.4g} A"
            )
        return float(x[0])
    share = (current_a - current[i - 1]) / (current[i] - current[i - 1])
    return float(x[i - 1] + share * (x[i] - x[i - 1]))


def reach_at_rated(line: LoadLine | None, points: Sequence[LoadPoint], plate: Plate) -> float:
    """How far curves of power of other orders stand from the chosen one at the plate's current.

    Returns
    -------
    The largest difference, relative to the shaft power there, among the orders whose QAICc is
    within `AS_GOOD` of the least; 0 where nothing is read off there.

    Notes
    -----
    Ten to fifteen loads often can't tell a bend from their scatter: the criterion then prefers too
    stiff a curve, whose own scatter says nothing of that.

    Sources
    -------
    Support of a model by its distance from the least criterion: Burnham and Anderson, Model
    Selection and Multimodel Inference, 2nd ed., 2.6 (cited from memory).
    """
    if line is None or line.current is None or plate.current_a is None:
        return 0.0
    at_x = _place_of(line.current, plate.current_a, line)
    own = 0.0 if isinstance(at_x, str) else float(line.power.at(at_x))
    if isinstance(at_x, str) or own <= 0:
        return 0.0
    scored = scored_power(line, points)
    least = min(score for score, _ in scored)
    near = [fit for score, fit in scored if score <= least + AS_GOOD]
    return max((abs(float(fit.at(at_x)) - own) for fit in near), default=0.0) / own


def _all_missing(reason: str) -> dict[MetricName, Metric]:
    return {name: Metric.missing(name, reason) for name in RATED}
