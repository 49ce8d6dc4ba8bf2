"""Metrics that are read off the run rather than off the load line."""

import math

import numpy as np

from server.model.bench import Rig
from server.model.measured import Metric
from server.model.results import LoadPoint
from server.model.words import MetricName
from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks
from server.reduction.metrics import Budget
from server.reduction.momentary import Momentary
from server.reduction.states import State, States, stretches

M = MetricName
LEAST_HOLD_S = 0.3
HOLD_SETTLE_S = 0.1


def best_dwell(points: tuple[LoadPoint, ...], budget: Budget) -> Metric:
    """The dwell with the highest mean shaft power, as it was measured."""
    dwells = [p for p in points if p.is_dwell]
    if not dwells:
        return Metric.missing(M.SHAFT_POWER_BEST_DWELL, "no steady dwell in the run")
    best = max(dwells, key=lambda p: p.shaft_power_w)
    relative = budget.shaft(best.torque_nm, best.speed_rad_s)
    u = math.hypot(best.u_shaft_power_w or 0.0, best.shaft_power_w * relative)
    return Metric(M.SHAFT_POWER_BEST_DWELL, best.shaft_power_w, u)


def shown_without_line(points: tuple[LoadPoint, ...], budget: Budget) -> dict[MetricName, Metric]:
    """With too few points for a curve: the best point, as a lower bound."""
    if not points:
        return {}
    best = max(points, key=lambda p: p.shaft_power_w)
    speed, torque = best.speed_rad_s, best.torque_nm
    u = math.hypot(best.u_shaft_power_w or 0.0, best.shaft_power_w * budget.shaft(torque, speed))
    u_speed = math.hypot(best.u_speed_rad_s or 0.0, speed * budget.speed(speed))
    u_torque = math.hypot(best.u_torque_nm or 0.0, torque * budget.torque(torque))
    metrics = {
        M.SHAFT_POWER_MAX_STEADY: Metric(
            M.SHAFT_POWER_MAX_STEADY, best.shaft_power_w, u, lower_bound=True
        ),
        M.TORQUE_AT_MAX_STEADY_POWER: Metric(M.TORQUE_AT_MAX_STEADY_POWER, torque, u_torque),
        M.SPEED_AT_MAX_STEADY_POWER: Metric(M.SPEED_AT_MAX_STEADY_POWER, speed, u_speed),
    }
    for name, value, u_value in (
        (M.CURRENT_AT_MAX_STEADY_POWER, best.current_a, best.u_current_a),
        (M.EFFICIENCY_AT_MAX_STEADY_POWER, best.efficiency, best.u_efficiency),
        (M.INPUT_POWER_AT_MAX_STEADY_POWER, best.input_power_w, best.u_input_power_w),
    ):
        if value is not None:
            metrics[name] = Metric(name, value, u_value or 0.0)
    return metrics


def momentary_metrics(
    momentary: Momentary, rig: Rig, budget: Budget, *, has_dwells: bool
) -> dict[MetricName, Metric]:
    """The highest momentary shaft power, and the brake's reading beside it."""
    shaft, brake = M.SHAFT_POWER_MAX_MOMENTARY, M.BRAKE_READING_WHILE_SLOWING
    gain = math.hypot(budget.torque_gain(), budget.speed_gain())
    metrics: dict[MetricName, Metric] = {}
    no_window = "no stretch of running as long as the averaging window"
    if momentary.brake_w is None:
        metrics[brake] = Metric.missing(brake, no_window)
    else:
        u = math.hypot(momentary.u_brake_w or 0.0, momentary.brake_w * gain)
        metrics[brake] = Metric(brake, momentary.brake_w, u)
    if momentary.shaft_w is None:
        reason = no_window
        if rig.inertia_kg_m2 is None and not has_dwells:
            reason = "the inertia of what turns is not given, and the speed never stood still"
        metrics[shaft] = Metric.missing(shaft, reason)
    else:
        u = math.hypot(momentary.u_shaft_w or 0.0, momentary.shaft_w * gain)
        # Without the inertia only steady stretches count: more may have been made between them.
        bound = rig.inertia_kg_m2 is None
        metrics[shaft] = Metric(shaft, momentary.shaft_w, u, lower_bound=bound)
    return metrics


def supply_sag(points: tuple[LoadPoint, ...]) -> Metric:
    """Fall of the supply from the least to the most loaded point, as a fraction.

    Model:  1 - V(highest current) / V(lowest current), by a straight line of V over current
    """
    known = [
        (p.current_a, p.voltage_v)
        for p in points
        if p.current_a is not None and p.voltage_v is not None
    ]
    if len(known) < 2:
        return Metric.missing(M.SUPPLY_SAG, "voltage and current were not measured at two loads")
    current, voltage = (np.array(column, dtype=np.float64) for column in zip(*known, strict=True))
    spread = current - current.mean()
    if float(spread @ spread) == 0.0 or float(voltage.min()) <= 0:
        return Metric.missing(M.SUPPLY_SAG, "the current did not change, or there was no voltage")
    slope = float(spread @ voltage / (spread @ spread))
    residual = voltage - voltage.mean() - slope * spread
    freedom = max(len(known) - 2, 1)
    u_slope = math.sqrt(float(residual @ residual) / freedom / float(spread @ spread))
    span = float(np.ptp(current))
    unloaded = float(voltage.mean() + slope * (current.min() - current.mean()))
    return Metric(M.SUPPLY_SAG, -slope * span / unloaded, u_slope * span / unloaded)


def rotor_held(blocks: Blocks, states: States, power: Floats | None) -> Metric:
    """Input power while the rotor stands still with current flowing, if the run shows that."""
    name = M.INPUT_ROTOR_HELD
    if power is None:
        return Metric.missing(name, "real input power was not measured")
    best: Metric | None = None
    for start, end in stretches(states.is_(State.HELD)):
        inside = np.arange(start, end)
        inside = inside[blocks.time_s[inside] >= blocks.start_s[start] + HOLD_SETTLE_S]
        values = power[inside]
        values = values[np.isfinite(values)]
        length = float(blocks.end_s[end - 1] - blocks.start_s[start])
        if length < LEAST_HOLD_S or values.size < 2:
            continue
        mean, u = float(values.mean()), float(values.std() / math.sqrt(values.size))
        if best is None or best.value is None or mean > best.value:
            best = Metric(name, mean, u)
    if best is None:
        return Metric.missing(name, "the rotor was not held under current in this run")
    return best
