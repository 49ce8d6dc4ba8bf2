"""Metrics read off the load line and the dwells."""

import math
from dataclasses import dataclass

import numpy as np

from server.model.bench import Rig
from server.model.measured import Metric
from server.model.results import LoadPoint
from server.model.words import Channel, MetricName
from server.reduction.instruments import channel_limits, torque_limits
from server.reduction.loadline import LoadLine
from server.reduction.peak import find_peak
from server.reduction.polynomial import Polynomial

M = MetricName
NO_INPUT = "real input power was not measured"
NO_CURRENT = "current was not measured"
NO_POWER_FACTOR = "voltage and current were not both measured"
NO_LINE = "fewer than five steady loads or sweep bins, no curve along the load"


@dataclass(frozen=True, slots=True)
class Budget:
    """Relative standard uncertainties that instruments add, by quantity, at one load."""

    rig: Rig
    torque_channel: Channel
    u_zero_nm: float
    is_input_metered: bool
    is_dc: bool

    def torque(self, torque_nm: float) -> float:
        limits = torque_limits(self.rig, self.torque_channel)
        zero = self.u_zero_nm / abs(torque_nm) if torque_nm else 0.0
        return math.hypot(limits.relative(torque_nm), zero)

    def speed(self, speed_rad_s: float) -> float:
        return channel_limits(self.rig, Channel.SPEED).relative(speed_rad_s)

    def torque_gain(self) -> float:
        return torque_limits(self.rig, self.torque_channel).gain

    def speed_gain(self) -> float:
        return channel_limits(self.rig, Channel.SPEED).gain

    def current(self, current_a: float) -> float:
        return channel_limits(self.rig, Channel.CURRENT).relative(current_a)

    def shaft(self, torque_nm: float, speed_rad_s: float) -> float:
        return math.hypot(self.torque(torque_nm), self.speed(speed_rad_s))

    def input(self, power_w: float, voltage_v: float | None, current_a: float | None) -> float:
        if self.is_input_metered:
            return channel_limits(self.rig, Channel.POWER).relative(power_w)
        parts = [0.0]
        if voltage_v is not None:
            parts.append(channel_limits(self.rig, Channel.VOLTAGE).relative(voltage_v))
        if current_a is not None:
            parts.append(self.current(current_a))
        if not self.is_dc:
            parts.append(channel_limits(self.rig, Channel.POWER_FACTOR).gain)
        return math.sqrt(sum(p**2 for p in parts))


@dataclass(frozen=True, slots=True)
class AtLoad:
    """Every quantity at one place of the load line, with its standard uncertainty."""

    shaft_w: float
    torque_nm: float
    speed_rad_s: float
    current_a: float | None
    input_w: float | None
    efficiency: float | None
    power_factor: float | None
    u: dict[str, float]


def read_at(line: LoadLine, x: float, u_x: float, budget: Budget) -> AtLoad:
    """Read every curve at x; fit, place and instruments make up each standard uncertainty.

    Model:  u(y)^2 = u_fit(y)^2 + (dy/dx u(x))^2 + (y u_instrument,rel)^2
    """

    def fitted(curve: Polynomial) -> tuple[float, float, float]:
        return float(curve.at(x)), float(curve.u_at(x)[0]), float(curve.slope_at(x))

    power, u_power, power_slope = fitted(line.power)
    speed, u_speed, speed_slope = fitted(line.speed)
    torque = power / speed
    torque_slope = (power_slope - torque * speed_slope) / speed
    voltage = None if line.voltage is None else fitted(line.voltage)[0]
    values: dict[str, float | None] = {"current": None, "input": None, "pf": None}
    u: dict[str, float] = {
        "shaft": _root(u_power, power_slope * u_x, power * budget.shaft(torque, speed)),
        "speed": _root(u_speed, speed_slope * u_x, speed * budget.speed(speed)),
        "torque": _root(
            torque * math.hypot(u_power / power if power else 0.0, u_speed / speed),
            torque_slope * u_x,
            torque * budget.torque(torque),
        ),
    }
    if line.current is not None:
        current, u_i, slope_i = fitted(line.current)
        values["current"] = current
        u["current"] = _root(u_i, slope_i * u_x, current * budget.current(current))
    if line.power_factor is not None:
        values["pf"], u_pf, slope_pf = fitted(line.power_factor)
        u["pf"] = _root(u_pf, slope_pf * u_x)
    efficiency = None
    if line.input_power is not None and float(line.input_power.at(x)) > 0:
        input_w, u_in, slope_in = fitted(line.input_power)
        values["input"] = input_w
        rel_in = budget.input(input_w, voltage, values["current"])
        u["input"] = _root(u_in, slope_in * u_x, input_w * rel_in)
        efficiency = power / input_w
        slope_eta = (power_slope - efficiency * slope_in) / input_w
        u["efficiency"] = _root(
            u_power / input_w,
            efficiency * u_in / input_w,
            slope_eta * u_x,
            efficiency * math.hypot(budget.shaft(torque, speed), rel_in),
        )
        if "pf" in u:
            u["pf"] = _root(u["pf"], (values["pf"] or 0.0) * rel_in)
    return AtLoad(
        power, torque, speed, values["current"], values["input"], efficiency, values["pf"], u
    )


def no_input(line: LoadLine) -> str:
    """Why nothing that rests on the curve of input power can be had."""
    return _why_no_curve(line, line.n_without_input, "input power") or NO_INPUT


def no_current(line: LoadLine) -> str:
    """Why nothing that rests on the curve of current can be had."""
    return _why_no_curve(line, line.n_without_current, "current") or NO_CURRENT


def no_power_factor(line: LoadLine) -> str:
    """Why no power factor can be had along the line."""
    return _why_no_curve(line, line.n_without_factor, "power factor") or NO_POWER_FACTOR


def _why_no_curve(line: LoadLine, n_without: int, quantity: str) -> str | None:
    if not 0 < n_without < line.n_points:
        return None
    return (
        f"{n_without} of {line.n_points} loads have no {quantity}: its curve needs the first, the"
        " last and enough of those between"
    )


def efficiency_metrics(line: LoadLine, budget: Budget) -> dict[MetricName, Metric]:
    """Best efficiency along the load line, and where it stands."""
    names = (
        M.EFFICIENCY_MAX,
        M.SHAFT_POWER_AT_EFFICIENCY_MAX,
        M.TORQUE_AT_EFFICIENCY_MAX,
        M.POWER_FACTOR_AT_EFFICIENCY_MAX,
        M.INPUT_POWER_AT_EFFICIENCY_MAX,
    )
    if line.input_power is None:
        return {name: Metric.missing(name, no_input(line)) for name in names}
    x = line.grid()
    input_w = line.input_power.at(x)
    if float(input_w.min()) <= 0:
        return {name: Metric.missing(name, "input power is not positive") for name in names}
    eta = line.power.at(x) / input_w
    u = np.hypot(line.power.u_at(x), eta * line.input_power.u_at(x)) / input_w
    peak = find_peak(x, eta, u)
    at = read_at(line, peak.x, 0.0, budget)
    metrics = {
        M.EFFICIENCY_MAX: Metric(
            M.EFFICIENCY_MAX,
            at.efficiency,
            at.u["efficiency"],
            lower_bound=not peak.is_bracketed,
        )
    }
    add_figure(metrics, M.SHAFT_POWER_AT_EFFICIENCY_MAX, at.shaft_w, at.u["shaft"], "")
    add_figure(metrics, M.TORQUE_AT_EFFICIENCY_MAX, at.torque_nm, at.u["torque"], "")
    add_figure(metrics, M.INPUT_POWER_AT_EFFICIENCY_MAX, at.input_w, at.u.get("input"), "")
    add_figure(
        metrics,
        M.POWER_FACTOR_AT_EFFICIENCY_MAX,
        at.power_factor,
        at.u.get("pf"),
        no_power_factor(line),
    )
    return metrics


def free_metrics(free: LoadPoint | None, budget: Budget) -> dict[MetricName, Metric]:
    """Free speed: that of the free-running stretch, with the torque it carried."""
    if free is None:
        reason = "no free-running stretch in the run"
        return {n: Metric.missing(n, reason) for n in (M.FREE_SPEED, M.TORQUE_AT_FREE_SPEED)}
    u_speed = math.hypot(
        free.u_speed_rad_s or 0.0, free.speed_rad_s * budget.speed(free.speed_rad_s)
    )
    u_torque = math.hypot(
        free.u_torque_nm or 0.0, abs(free.torque_nm) * budget.torque(free.torque_nm)
    )
    return {
        M.FREE_SPEED: Metric(M.FREE_SPEED, free.speed_rad_s, u_speed),
        M.TORQUE_AT_FREE_SPEED: Metric(M.TORQUE_AT_FREE_SPEED, free.torque_nm, u_torque),
    }


def add_figure(
    metrics: dict[MetricName, Metric],
    name: MetricName,
    value: float | None,
    u: float | None,
    reason: str,
) -> None:
    if value is None or not math.isfinite(value):
        metrics[name] = Metric.missing(name, reason or "not a finite number")
    else:
        metrics[name] = Metric(name, value, u)


def _root(*parts: float) -> float:
    return math.sqrt(sum(p * p for p in parts))
