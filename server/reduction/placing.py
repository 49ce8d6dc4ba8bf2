"""A motor in use placed on the curve that a brake run gave. Scalars only: pages call this."""

import math
from bisect import bisect_left
from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from server.model.budget import BudgetLine
from server.model.measured import Metric
from server.model.results import Curve, Reduction
from server.model.words import MetricName

M = MetricName
NO_CURVE = "no brake run of this appliance is at hand to place it on"
MOST_OFF = 0.10  # of the voltage: beyond it one curve does not stand for the other
COVERAGE_FACTOR = 1.959963984540054  # normal quantile of 0.975
PLACED = (M.SHAFT_POWER_IN_USE, M.INPUT_POWER_BY_CURVE, M.AGREEMENT_Z)


@dataclass(frozen=True, slots=True)
class _Read:
    """A curve at one speed: value, its standard uncertainty, and its slope over speed."""

    value: float
    u: float
    slope: float


def place_in_use(
    metrics: Mapping[MetricName, Metric], *, curve_of: Reduction | None
) -> dict[MetricName, Metric]:
    """Read shaft power and input power off a brake run's curves at the speed in use.

    Model:  P = P_curve(w),  u(P)^2 = u_curve^2 + (dP/dw u(w))^2 + (P u_run,rel)^2 + u_V^2,
            u_V = |w dP/dw| |V_use / V_run - 1| / sqrt(3),
            z = (P_in,use - P_in,curve) / sqrt(u^2(P_in,use) + u^2(P_in,curve))

    Parameters
    ----------
    metrics : figures of the run in use. curve_of : a brake run of the same appliance, with its
        curves of speed, shaft power and input power (input power else shaft power / efficiency).

    Returns
    -------
    The same figures with `shaft_power_in_use`, `input_power_by_curve` and `agreement_z`, or the
    reason why not: no curve, speed outside what the brake run covered (a curve is never
    extended), voltages over 10 % apart.

    Notes
    -----
    Speed at a given torque follows the voltage nearly in proportion in series and permanent-magnet
    motors; the difference of the supplies enters as an uncertainty of that size and the figure is
    not corrected. What specimens differ by is not in it: one brake run shows one specimen.
    """
    placed = dict(metrics)
    speed = metrics.get(M.OPERATING_SPEED)
    reason = None
    if speed is None or speed.value is None:
        reason = "there is no speed in use to place"
    elif curve_of is None:
        reason = NO_CURVE
    off = 0.0 if curve_of is None else _voltage_off(metrics, curve_of)
    if reason is None and abs(off) > MOST_OFF:
        reason = f"voltage in use and in the brake run are {abs(off):.0%} apart, over 10 %"
    if reason is not None or speed is None or speed.value is None or curve_of is None:
        return placed | {n: Metric.missing(n, reason or NO_CURVE) for n in PLACED}
    shaft = _read(curve_of, "shaft_power", speed.value)
    if shaft is None:
        outside = "the speed in use lies outside what the brake run covered"
        return placed | {n: Metric.missing(n, outside) for n in PLACED}
    relative = _relative(curve_of.metrics.get(M.SHAFT_POWER_MAX_STEADY))
    placed[M.SHAFT_POWER_IN_USE] = _figure(M.SHAFT_POWER_IN_USE, shaft, speed, relative, off)
    taken = _read(curve_of, "input_power", speed.value)
    if taken is None:
        why = "the brake run did not measure real input power"
        return placed | {n: Metric.missing(n, why) for n in PLACED[1:]}
    relative = _relative(curve_of.metrics.get(M.INPUT_POWER_AT_MAX_STEADY_POWER))
    placed[M.INPUT_POWER_BY_CURVE] = _figure(M.INPUT_POWER_BY_CURVE, taken, speed, relative, off)
    placed[M.AGREEMENT_Z] = _agreement(
        metrics.get(M.INPUT_POWER_IN_USE), placed[M.INPUT_POWER_BY_CURVE]
    )
    return placed


def _agreement(measured: Metric | None, by_curve: Metric) -> Metric:
    name = M.AGREEMENT_Z
    if measured is None or measured.value is None or by_curve.value is None:
        return Metric.missing(name, "real input power in use was not measured")
    u = math.hypot(measured.standard_uncertainty or 0.0, by_curve.standard_uncertainty or 0.0)
    if u <= 0:
        return Metric.missing(name, "neither way states an uncertainty")
    z = (measured.value - by_curve.value) / u
    return Metric(
        name,
        z,
        standard_uncertainty=1.0,
        interval_low=z - COVERAGE_FACTOR,
        interval_high=z + COVERAGE_FACTOR,
        method="gum",
    )


def _figure(name: MetricName, at: _Read, speed: Metric, relative: float, off: float) -> Metric:
    turning = speed.value or 0.0
    by_speed, u_speed = at.slope, speed.standard_uncertainty or 0.0
    parts = [
        ("fit of the brake run's curve", at.u, "normal", 1.0),
        ("speed in use", u_speed, "normal", by_speed),
        ("brake run as a whole", relative, "normal", at.value),
        ("supply voltage", abs(off) / math.sqrt(3), "rectangular", turning * by_speed),
    ]
    variance = math.fsum((u * by) ** 2 for _, u, _, by in parts)
    u_total = math.sqrt(variance)
    lines = [
        BudgetLine(component, u, distribution, by, (u * by) ** 2 / variance)
        for component, u, distribution, by in parts
        if variance > 0 and u * by != 0
    ]
    half = COVERAGE_FACTOR * u_total
    return Metric(
        name,
        at.value,
        standard_uncertainty=u_total,
        interval_low=at.value - half,
        interval_high=at.value + half,
        method="gum",
        budget=tuple(sorted(lines, key=lambda line: -line.share)),
    )


def _relative(metric: Metric | None) -> float:
    """What the brake run's headline figure is uncertain by: instruments and arm, above all."""
    if metric is None or not metric.value or metric.standard_uncertainty is None:
        return 0.0
    return abs(metric.standard_uncertainty / metric.value)


def _voltage_off(metrics: Mapping[MetricName, Metric], run: Reduction) -> float:
    """Voltage in use over that of the brake run at the nearest speed, less one; 0 if not known."""
    voltage, speed = metrics.get(M.VOLTAGE_IN_USE), metrics.get(M.OPERATING_SPEED)
    known = [(p.speed_rad_s, p.voltage_v) for p in run.points if p.voltage_v]
    if voltage is None or not voltage.value or speed is None or speed.value is None or not known:
        return 0.0
    at = speed.value
    nearest = min(known, key=lambda pair: abs(pair[0] - at))
    return voltage.value / (nearest[1] or voltage.value) - 1


def _read(run: Reduction, quantity: str, speed_rad_s: float) -> _Read | None:
    """A curve of the brake run as a function of speed, straight between its points."""
    curves = {curve.quantity: curve for curve in run.curves}
    turning, wanted = curves.get("speed"), curves.get(quantity)
    if turning is None or wanted is None:
        return None
    rows = sorted(
        (w, y, u)
        for w, y, u, beyond in zip(
            turning.value, wanted.value, wanted.standard_uncertainty, _beyond(turning), strict=False
        )
        if not beyond
    )
    speeds = [w for w, _, _ in rows]
    if len(rows) < 2 or not speeds[0] <= speed_rad_s <= speeds[-1]:
        return None
    i = min(max(bisect_left(speeds, speed_rad_s), 1), len(rows) - 1)
    (w0, y0, u0), (w1, y1, u1) = rows[i - 1], rows[i]
    share = (speed_rad_s - w0) / (w1 - w0) if w1 > w0 else 0.0
    return _Read(
        value=y0 + share * (y1 - y0),
        u=u0 + share * (u1 - u0),
        slope=(y1 - y0) / (w1 - w0) if w1 > w0 else 0.0,
    )


def _beyond(curve: Curve) -> Sequence[bool]:
    return curve.beyond or (False,) * len(curve.value)
