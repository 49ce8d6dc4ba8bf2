"""From load points to a motor's model and what follows from it. Never fails a run."""

from collections.abc import Mapping, Sequence
from dataclasses import replace

import numpy as np

from server.model.bench import Plate, Rig
from server.model.measured import Metric
from server.model.motor import (
    ChannelResiduals,
    Identified,
    ModelCurve,
    MotorFit,
    MotorParameter,
    NormalisedMetric,
)
from server.model.results import LoadPoint, Reduction
from server.model.winding import WindingReference
from server.model.words import Channel, MetricName, MotorFamily
from server.reduction.arrays import Floats
from server.reduction.motors.choose import Choice, choose_law
from server.reduction.motors.fit import Fitted
from server.reduction.motors.induction import pull_out_point
from server.reduction.motors.law import OUTPUT_UNITS, OUTPUTS, State
from server.reduction.motors.losses import slope_over_constants, split_losses
from server.reduction.motors.normalise import Winding, normalise
from server.reduction.motors.observe import observe, run_errors
from server.reduction.motors.warming import repeat_of_the_first
from server.reduction.motors.winding import constant_of

FIXED_REL, ROUGH_REL = 0.1, 0.5
FAR_OFF_REL = 0.15  # of a channel's largest value: the readings are not those of such a motor
HARDLY_NARROWED = 0.8  # of what practice says: the data added nothing
NO_SOLUTION = "the fit's equations have no solution"
N_CURVE = 61
SLOWER, FASTER = 0.9, 1.03


def fit_motor(
    points: Sequence[LoadPoint],
    *,
    plate: Plate,
    rig: Rig,
    torque_channel: Channel = Channel.TORQUE,
    metrics: Mapping[MetricName, Metric] | None = None,
    ambient_k: float | None = None,
) -> MotorFit:
    """Fit the physics of a motor to a run's load points, and say what follows from it.

    Parameters
    ----------
    points : load points of a brake run. plate : family, supply, voltage, frequency, current.
    rig, torque_channel, ambient_k : for the instruments' limits. metrics : figures to carry to
        plate voltage; None leaves that out.

    Returns
    -------
    MotorFit. `model` None with a `reason` where nothing was fitted: the family is not known, a
    channel is missing, too few points, no fit settled, or the best misses a channel by more than
    15 % of its largest value (rms), as it does after a slip of unit. Every number is finite.

    Notes
    -----
    docs/methods/motor-models.md states each model with its limits.
    """
    choice = law_of_points(
        points, plate=plate, rig=rig, torque_channel=torque_channel, ambient_k=ambient_k
    )
    return describe_points(choice, points, plate=plate, metrics=metrics or {})


def law_of_points(
    points: Sequence[LoadPoint],
    *,
    plate: Plate,
    rig: Rig,
    torque_channel: Channel = Channel.TORQUE,
    ambient_k: float | None = None,
) -> Choice | str:
    """The law that fits a run's load points, or the reason why there is none. Never raises.

    Parameters
    ----------
    As for `fit_motor`.
    """
    if plate.motor_family is MotorFamily.UNKNOWN:
        return "the motor's family is not known; the curves assume none"
    observed = observe(points, plate, rig)
    if isinstance(observed, str):
        return observed
    errors = run_errors(rig, torque_channel, is_ac=observed.is_ac, ambient_k=ambient_k)
    # Odd logs overflow on the way; what is not finite in the end is refused by the steps.
    with np.errstate(all="ignore"):
        try:
            return choose_law(observed, plate.motor_family, errors)
        except np.linalg.LinAlgError:
            return NO_SOLUTION


def describe_points(
    choice: Choice | str,
    points: Sequence[LoadPoint],
    *,
    plate: Plate,
    metrics: Mapping[MetricName, Metric],
    winding: WindingReference | None = None,
) -> MotorFit:
    """What a law fitted to a run's load points says of the motor; see `fit_motor`."""
    if isinstance(choice, str):
        return _nothing(plate, choice)
    has_voltage = all(p.voltage_v for p in points)
    found = describe(choice, plate, metrics, has_voltage=has_voltage, winding=winding)
    if any(r.rms_rel > FAR_OFF_REL for r in found.residuals):
        return replace(
            _nothing(plate, "no model of the plate's family comes near the readings"),
            scores=choice.scores,
        )
    return replace(found, warming=repeat_of_the_first(points))


def motor_of_run(
    reduction: Reduction,
    choice: Choice | str,
    *,
    plate: Plate,
    winding: WindingReference | None = None,
) -> MotorFit:
    """The motor's model of a reduced brake run, readings by hand too. Never raises: a fit that
    fails is a reason.

    Parameters
    ----------
    choice : `law_of_points` of the reduction's load points. winding : temperatures, to carry
        figures to another one.
    """
    with np.errstate(all="ignore"):
        try:
            found = describe_points(
                choice,
                reduction.points,
                plate=plate,
                metrics=reduction.metrics,
                winding=winding,
            )
        except np.linalg.LinAlgError:
            return _nothing(plate, NO_SOLUTION)
    if found.warming is not None and Channel.TIME not in reduction.channels_used:
        # Rows without a time column are numbered, not timed.
        return replace(found, warming=replace(found.warming, after_s=None))
    return found


def describe(
    choice: Choice,
    plate: Plate,
    metrics: Mapping[MetricName, Metric],
    *,
    has_voltage: bool = True,
    winding: WindingReference | None = None,
) -> MotorFit:
    """Everything that is said of a chosen fit, as plain numbers."""
    fitted = choice.fitted
    whole = fitted.of_constants
    losses = split_losses(fitted)
    figures = [p.beyond_w for p in losses] + [p.u_beyond_w for p in losses]
    if not np.all(np.isfinite(figures)):
        return _nothing(plate, "the fit gives no finite losses")
    normalised: tuple[NormalisedMetric, ...] = ()
    if plate.voltage_v is not None and has_voltage:
        normalised = normalise(
            fitted,
            metrics,
            plate_voltage_v=plate.voltage_v,
            rated_current_a=plate.current_a,
            winding=_winding(winding),
        )
    return MotorFit(
        family=fitted.law.family,
        model=fitted.law.name,
        parameters=(*_parameters(fitted), *_derived(fitted, plate)),
        covariance=tuple(tuple(float(v) for v in row) for row in whole),
        residuals=_residuals(fitted),
        scores=choice.scores,
        losses=losses,
        normalised=normalised,
        curve=_curve(fitted),
        is_voltage_from_plate=not has_voltage,
    )


def _winding(stated: WindingReference | None) -> Winding | None:
    if stated is None:
        return None
    return Winding(
        tested_k=stated.tested_k,
        reference_k=stated.reference_k,
        standard=constant_of(stated.material, stated.standard),
        u_tested_k=stated.u_tested_k or 0.0,
    )


def _nothing(plate: Plate, reason: str) -> MotorFit:
    return MotorFit(family=plate.motor_family, reason=reason)


def _parameters(fitted: Fitted) -> tuple[MotorParameter, ...]:
    u = np.sqrt(np.diag(fitted.of_constants))
    return tuple(
        MotorParameter(c.name, float(v), float(w), c.unit, _identified(float(v), float(w), c.usual))
        for c, v, w in zip(fitted.law.constants, fitted.theta, u, strict=True)
    )


def _identified(value: float, u: float, usual: tuple[float, float] | None) -> Identified:
    if usual is not None and u > HARDLY_NARROWED * usual[1]:
        return Identified.ASSUMED
    if u <= FIXED_REL * abs(value):
        return Identified.FIXED
    return Identified.ROUGH if u <= ROUGH_REL * abs(value) else Identified.NOT_FIXED


def _derived(fitted: Fitted, plate: Plate) -> tuple[MotorParameter, ...]:
    """Pull-out torque and slip of an induction motor, at plate voltage where there is one."""
    law = fitted.law
    sync = law.below_rad_s
    if law.family is not MotorFamily.INDUCTION or sync is None:
        return ()
    voltage = plate.voltage_v or float(np.median(fitted.observed.state.voltage))
    value, slope = slope_over_constants(
        lambda theta: pull_out_point(law, theta, voltage_v=voltage, sync_rad_s=sync),
        fitted.theta,
        [c.scale for c in law.constants],
    )
    u = np.sqrt(np.maximum(np.diag(slope.T @ fitted.of_constants @ slope), 0.0))
    if not (np.all(np.isfinite(value)) and np.all(np.isfinite(u))):
        return ()
    named = (("pull_out_torque", "N m"), ("pull_out_slip", ""))
    return tuple(
        MotorParameter(name, float(v), float(w), unit, _identified(float(v), float(w), None), True)
        for (name, unit), v, w in zip(named, value, u, strict=True)
    )


def _residuals(fitted: Fitted) -> tuple[ChannelResiduals, ...]:
    has, values = fitted.observed.has, fitted.observed.values
    rows = zip(
        OUTPUTS, OUTPUT_UNITS, values, fitted.residual, fitted.sigma, fitted.weight, has,
        strict=True,
    )  # fmt: skip
    return tuple(
        ChannelResiduals(
            channel,
            unit,
            residual=_floats(r),
            scatter=_floats(s),
            weight=_floats(w),
            rms_rel=float(np.sqrt(np.mean(r**2))) / (float(np.max(np.abs(v))) or 1.0),
        )
        for channel, unit, v, r, s, w, is_measured in rows
        if is_measured
    )


def _curve(fitted: Fitted) -> ModelCurve:
    """A little past both ends of the run's speeds, at the voltage it had there."""
    seen, voltage = fitted.observed.state.speed, fitted.observed.state.voltage
    low, high = float(seen.min()), float(seen.max())
    top = FASTER * high
    if fitted.law.below_rad_s is not None:
        top = min(top, 0.5 * (high + fitted.law.below_rad_s))
    speed = np.linspace(SLOWER * low, top, N_CURVE)
    near = np.interp(speed, seen[::-1], fitted.observed.values[0][::-1])
    at = fitted.predict(State(speed, np.interp(speed, seen[::-1], voltage[::-1]), near))
    kept = np.all(np.isfinite(at), axis=0) & (at[0] > 0)
    return ModelCurve(
        speed_rad_s=_floats(speed[kept]),
        current_a=_floats(at[0][kept]),
        torque_nm=_floats(at[1][kept]),
        input_power_w=_floats(at[2][kept]),
        is_beyond=tuple(bool(v) for v in (speed < low)[kept] | (speed > high)[kept]),
    )


def _floats(values: Floats) -> tuple[float, ...]:
    return tuple(float(v) for v in values)
