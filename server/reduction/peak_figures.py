"""Highest steady shaft power, and everything at the load where it stands."""

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from server.model.measured import Metric
from server.model.results import LoadPoint
from server.model.words import MetricName
from server.reduction.loadline import LoadLine, scored_power
from server.reduction.metrics import Budget, add_figure, no_current, no_input, read_at
from server.reduction.motors.choose import Choice
from server.reduction.motors.fit import Fitted
from server.reduction.motors.place import Place, highest_place
from server.reduction.peak import Peak, find_peak

M = MetricName
AS_WELL = 2.0  # the law's misfit over that of the curve: more, and it is not this motor's law


def peak_metrics(
    line: LoadLine, budget: Budget, place: Place | None = None
) -> tuple[dict[MetricName, Metric], Peak]:
    """Highest steady shaft power and everything at that load.

    Parameters
    ----------
    place : where it stands by the motor's law; None leaves it where the curve of power is
        highest.

    Returns
    -------
    The figures, and the curve's own highest place.
    """
    peak = curve_peak(line)
    at_x, u_x = peak.x, own_u(line, peak)
    if place is not None:
        found = line.place_of_speed(place.speed_rad_s, peak.x)
        slope = abs(float(line.speed.slope_at(peak.x)))
        if found is not None and slope > 0:
            at_x, u_x = found, place.u_law / slope
    at = read_at(line, at_x, min(u_x, (line.x_high - line.x_low) / 4), budget)
    bound = not peak.is_bracketed
    metrics = {
        M.SHAFT_POWER_MAX_STEADY: Metric(
            M.SHAFT_POWER_MAX_STEADY, at.shaft_w, at.u["shaft"], lower_bound=bound
        ),
        M.TORQUE_AT_MAX_STEADY_POWER: Metric(
            M.TORQUE_AT_MAX_STEADY_POWER, at.torque_nm, at.u["torque"]
        ),
        M.SPEED_AT_MAX_STEADY_POWER: Metric(
            M.SPEED_AT_MAX_STEADY_POWER, at.speed_rad_s, at.u["speed"]
        ),
    }
    at_peak = (
        (M.CURRENT_AT_MAX_STEADY_POWER, at.current_a, at.u.get("current"), no_current(line)),
        (M.EFFICIENCY_AT_MAX_STEADY_POWER, at.efficiency, at.u.get("efficiency"), no_input(line)),
        (M.INPUT_POWER_AT_MAX_STEADY_POWER, at.input_w, at.u.get("input"), no_input(line)),
    )
    for name, value, u, reason in at_peak:
        add_figure(metrics, name, value, u, reason)
    return metrics, peak


def curve_peak(line: LoadLine) -> Peak:
    """Where the curve of power is highest, and whether that was seen."""
    x = line.grid()
    peak = find_peak(x, line.power.at(x), line.power.u_at(x))
    if line.gap is None or not line.gap[0] < peak.x < line.gap[1]:
        return peak
    # A maximum inside a wide gap between points was not seen: the higher edge of the gap was.
    edges = np.array(line.gap)
    value, u = line.power.at(edges), line.power.u_at(edges)
    i = int(np.argmax(value))
    return replace(
        peak,
        x=line.gap[i],
        value=float(value[i]),
        u=float(u[i]),
        is_bracketed=False,
        open_end="gap",
    )


def own_u(line: LoadLine, peak: Peak) -> float:
    """Standard uncertainty of the highest place along the line, by the curve's own fit."""
    bend = abs(float(line.power.slope_at(peak.x, 2)))
    return line.power.u_slope_at(peak.x) / bend if bend > 0 and peak.is_bracketed else 0.0


def place_by_law(
    choice: Choice | str, line: LoadLine | None, points: Sequence[LoadPoint]
) -> Place | None:
    """Where the highest power stands by the motor's law, if the law fits as well as the curve.

    Returns
    -------
    Place; None without a law, where the curve's maximum was not seen from both sides, where the
    powers lie further from the law (mean square, in their uncertainties) than `AS_WELL` times what
    they lie from the curve, and where the law puts it off the line.
    """
    if isinstance(choice, str) or line is None:
        return None
    peak = curve_peak(line)
    if not peak.is_bracketed:
        return None
    place = _place_of(choice.plain, choice, points)
    if place is None:
        return None
    spare = line.power.n_points - line.power.order - 1
    of_curve = line.power.chi2 / spare if spare > 0 else 1.0
    if place.misfit > AS_WELL * max(1.0, of_curve):
        return None
    if line.place_of_speed(place.speed_rad_s, peak.x) is None:
        return None
    others = (_place_of(rival, choice, points) for rival in choice.rivals)
    apart = (abs(o.speed_rad_s - place.speed_rad_s) for o in others if o is not None)
    # Which of the laws it is, is not known: anywhere up to the farthest of them, either way.
    return replace(place, u_law=math.hypot(place.u_law, max(apart, default=0.0) / math.sqrt(3)))


def _place_of(law: Fitted, choice: Choice, points: Sequence[LoadPoint]) -> Place | None:
    with np.errstate(all="ignore"):
        try:
            place = highest_place(law, choice.fitted.errors, points)
        except np.linalg.LinAlgError:
            return None
    return place if place is not None and place.is_finite else None


def reach_of_orders(line: LoadLine, points: Sequence[LoadPoint]) -> float:
    """How far from the chosen curve's highest place those of the next orders put it, rad/s.

    The largest difference to the curves one order lower and one higher that have a highest place
    inside the line; 0 where neither has.
    """
    grid = line.grid()
    own = curve_peak(line)
    found = [0.0]
    for _, fit in scored_power(line, points):
        if abs(fit.order - line.power.order) == 1:
            other = find_peak(grid, fit.at(grid), fit.u_at(grid))
            if other.is_bracketed:
                found.append(abs(float(line.speed.at(other.x)) - float(line.speed.at(own.x))))
    return max(found)
