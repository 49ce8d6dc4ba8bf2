"""Figures carried by a motor's model to plate voltage and to another winding temperature."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.model.measured import Metric
from server.model.motor import NormalisedMetric
from server.model.words import Channel, MetricName
from server.reduction.arrays import Floats
from server.reduction.motors.fit import Fitted
from server.reduction.motors.law import State
from server.reduction.motors.losses import slope_over_constants
from server.reduction.motors.observe import RunError
from server.reduction.motors.read_off import LOADS, SPEED_ROW, model_figures
from server.reduction.motors.winding import WindingConstant, resistance_ratio

M = MetricName
FARTHEST_REL = 0.10  # of plate voltage
N_SPEEDS = 161
BELOW, ABOVE = 0.85, 1.15  # of the run's speeds
SHY_OF_SYNCHRONOUS = 0.99995
VOLTAGE_STEP = 1e-5
RATIO_STEP = 1e-4


@dataclass(frozen=True, slots=True)
class Winding:
    """Temperature of the windings as tested and the one to carry figures to, K."""

    tested_k: float
    reference_k: float
    standard: WindingConstant
    u_tested_k: float = 0.0

    @property
    def ratio(self) -> float:
        return resistance_ratio(from_k=self.tested_k, to_k=self.reference_k, standard=self.standard)

    @property
    def u_ratio(self) -> float:
        """Standard uncertainty of the ratio: d ratio / d t_tested = -ratio / (k + t_tested)."""
        warmer = resistance_ratio(
            from_k=self.tested_k, to_k=self.tested_k + 1.0, standard=self.standard
        )
        return self.ratio * (warmer - 1.0) * self.u_tested_k


@dataclass(frozen=True, slots=True)
class _Read:
    """The model's own figures (19,) at a voltage for each speed, slopes over its constants (p, 19)
    and over a relative change of voltage (19,); `u_winding` (19,) because the windings' own
    temperature is not known better."""

    voltage: Floats
    value: Floats
    slope: Floats
    by_voltage: Floats
    u_winding: Floats


def normalise(
    fitted: Fitted,
    metrics: Mapping[MetricName, Metric],
    *,
    plate_voltage_v: float,
    rated_current_a: float | None = None,
    winding: Winding | None = None,
) -> tuple[NormalisedMetric, ...]:
    """Carry a run's figures to plate voltage, and to a reference winding temperature if given.

    Model:  x_norm = x_tested * m(V_plate, R_reference) / m(V_tested, R_tested)
    m is what the fitted model gives for the same figure. V_tested falls along the load as it did
    in the run (a straight line over current); V_plate is the same at every load.

    Parameters
    ----------
    fitted : the model. metrics : the run's figures as tested. plate_voltage_v, rated_current_a :
        from the plate. winding : temperatures; None leaves the windings as they were.

    Returns
    -------
    NormalisedMetric for each figure that has a value. `value` None with `reason`: "more than 10 %
    from plate voltage", "as tested only a lower bound", "outside what the model covers".

    Notes
    -----
    Only the ratio comes from the model, so that its misfit mostly drops out. The uncertainty is of
    the figure as tested, the model's constants, the voltage, and the windings' temperature.
    """
    speeds = _speeds(fitted)
    levels = (rated_current_a, _value(metrics, M.TORQUE_AT_FREE_SPEED))
    as_read = _voltage_over(fitted, speeds)
    here = _read_model(fitted, speeds, _freed_of_errors(fitted, as_read), 1.0, levels)
    ratio, u_ratio = (1.0, 0.0) if winding is None else (winding.ratio, winding.u_ratio)
    at_plate = np.full_like(speeds, plate_voltage_v)
    there = _read_model(fitted, speeds, at_plate, ratio, levels, u_ratio=u_ratio)
    carried, first = list[NormalisedMetric](), 0
    for load, names in LOADS.items():
        have = [
            (first + i, metrics[name])
            for i, name in enumerate(names)
            if name is not None and _value(metrics, name) is not None
        ]
        first += len(names)
        if not have:
            continue
        row = SPEED_ROW[load]
        tested_v = float(np.interp(_finite_or(here.value[row], speeds), speeds, as_read))
        kept = NormalisedMetric(
            name=M.SHAFT_POWER_MAX_STEADY,
            as_tested=0.0,
            value=None,
            standard_uncertainty=None,
            tested_voltage_v=tested_v,
            voltage_v=plate_voltage_v,
            winding_k=None if winding is None else winding.reference_k,
            is_beyond=_is_beyond(fitted, float(there.value[row])),
        )
        carried += [_carried(fitted, metric, kept, (here, there), i) for i, metric in have]
    return tuple(carried)


def _read_model(
    fitted: Fitted,
    speeds: Floats,
    voltage: Floats,
    resistance_ratio: float,
    levels: Sequence[float | None],
    *,
    u_ratio: float = 0.0,
) -> _Read:
    law = fitted.law
    near = _current_over(fitted, speeds)

    def ask(theta: Floats, stretch: float, ratio: float = resistance_ratio) -> Floats:
        warm = theta.copy()
        warm[:, list(law.resistances)] *= ratio
        state = State(speeds, voltage * stretch, near)
        return model_figures(law, warm, state, levels)

    value, slope = slope_over_constants(
        lambda theta: ask(theta, 1.0), fitted.theta, [c.scale for c in law.constants]
    )
    moved = ask(fitted.theta[None], 1 + VOLTAGE_STEP)[0]
    warmer = ask(fitted.theta[None], 1.0, resistance_ratio * (1 + RATIO_STEP))[0]
    u_winding = u_ratio * np.abs(warmer - value) / (RATIO_STEP * resistance_ratio)
    return _Read(voltage, value, slope, (moved - value) / VOLTAGE_STEP, u_winding)


def _carried(
    fitted: Fitted, metric: Metric, kept: NormalisedMetric, reads: tuple[_Read, _Read], i: int
) -> NormalisedMetric:
    """Row `i` of the model's figures carries the figure, or a reason says why not."""
    here, there = reads
    value, u_tested = metric.value or 0.0, metric.standard_uncertainty
    kept = replace(kept, name=metric.name, as_tested=value)
    if abs(kept.tested_voltage_v / kept.voltage_v - 1) > FARTHEST_REL:
        return replace(kept, reason="more than 10 % from plate voltage")
    if metric.lower_bound:
        return replace(kept, reason="as tested only a lower bound")
    a, b = float(here.value[i]), float(there.value[i])
    if not (np.isfinite(a) and np.isfinite(b) and a > 0):
        return replace(kept, reason="outside what the model covers")
    ratio = b / a
    slope = there.slope[:, i] / a - ratio * here.slope[:, i] / a
    by_error = [
        -ratio * float(here.by_voltage[i]) / a * _relative(error, kept.tested_voltage_v)
        for error in fitted.errors
    ]
    joint = np.concatenate([slope, by_error])
    variance = float(joint @ fitted.covariance @ joint)
    u = None
    if u_tested is not None and np.isfinite(variance):
        of_winding = float(there.u_winding[i]) / a
        by_model = np.sqrt(max(variance, 0.0) + of_winding**2)
        u = float(np.hypot(ratio * u_tested, value * by_model))
    return replace(kept, value=value * ratio, standard_uncertainty=u)


def _speeds(fitted: Fitted) -> Floats:
    speed = fitted.observed.state.speed
    top = ABOVE * float(speed.max())
    if fitted.law.below_rad_s is not None:
        top = min(top, SHY_OF_SYNCHRONOUS * fitted.law.below_rad_s)
    return np.linspace(BELOW * float(speed.min()), top, N_SPEEDS)


def _current_over(fitted: Fitted, speeds: Floats) -> Floats:
    observed = fitted.observed
    return np.asarray(np.interp(speeds, observed.state.speed[::-1], observed.values[0][::-1]))


def _voltage_over(fitted: Fitted, speeds: Floats) -> Floats:
    """The run's voltage over speed: a straight line over current, as a supply sags."""
    observed = fitted.observed
    current, voltage = observed.values[0], observed.state.voltage
    swing = current - current.mean()
    fall = float(swing @ voltage) / max(float(swing @ swing), 1e-300)
    return np.asarray(voltage.mean() + fall * (_current_over(fitted, speeds) - current.mean()))


def _freed_of_errors(fitted: Fitted, voltage: Floats) -> Floats:
    """The voltage with what the fit found of the meter's own errors taken out."""
    typical = float(np.median(voltage))
    pairs = zip(fitted.errors, fitted.found, strict=True)
    return np.asarray(voltage * (1 + sum(_relative(e, typical) * found for e, found in pairs)))


def _relative(error: RunError, voltage_v: float) -> float:
    """One standard uncertainty of an error of the voltage, over the voltage; else none."""
    if error.channel is not Channel.VOLTAGE:
        return 0.0
    return float(error.of(np.array(voltage_v))) / voltage_v


def _finite_or(speed: float, speeds: Floats) -> float:
    return float(speed) if np.isfinite(speed) else float(np.median(speeds))


def _is_beyond(fitted: Fitted, speed: float) -> bool:
    seen = fitted.observed.state.speed
    return not float(seen.min()) <= speed <= float(seen.max())


def _value(metrics: Mapping[MetricName, Metric], name: MetricName) -> float | None:
    metric = metrics.get(name)
    return metric.value if metric is not None else None
