"""A run-up on inertia: torque against speed from how fast a known inertia speeds up."""

import math
from dataclasses import dataclass

import numpy as np

from server.model.bench import Plate, Rig
from server.model.measured import Metric
from server.model.recording import Recording
from server.model.results import Curve, Lag, LoadPoint, Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind, SegmentKind
from server.reduction.arrays import Floats
from server.reduction.electrical import read_electrical
from server.reduction.findings.records import recording_findings
from server.reduction.first_order import Part, complete, figure, reading_parts, scatter
from server.reduction.peak import find_peak
from server.reduction.polynomial import Polynomial, choose_polynomial
from server.reduction.run_down import segment, stored_energy
from server.reduction.run_up_points import BINS, LEAST_IN_BIN, bin_points
from server.reduction.scatter import mean_and_u
from server.reduction.torque import drag_torque
from server.reduction.trace import thin
from server.reduction.turning import Leg, Turning, read_turning, rises
from server.reduction.uncertainty.components import Component, RigErrors, rig_errors
from server.reduction.versions import METHOD_VERSIONS

M = MetricName
LEAST_POINTS = 6
GRID = 401
HALF_POWER = 0.58  # a straight line's slope over a window: -3 dB at this over its length
NO_RISE = "the speed was never seen to rise under drive, by 30 % of the highest or more"
NO_INERTIA = "the inertia of what turns is not given: acceleration alone is no torque"
SETTLED_S = 0.5
SETTLED_DRIFT = 0.01


@dataclass(frozen=True, slots=True)
class _Line:
    """Power over speed through the points, and the scale that makes it well conditioned."""

    power: Polynomial
    low: float
    high: float
    window_s: float


def reduce_run_up(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce a run-up on a known inertia; see `reduce_run` for what it promises.

    Model:  T(w) = J dw/dt + drag(w),  P = T w, dw/dt the slope of a straight line through the
            samples of a thirtieth of the speed range

    Parameters
    ----------
    rig : `inertia_kg_m2`, everything that turns with the rotor, is what the figures rest on;
        `drag` is added as for a brake run.

    Returns
    -------
    Reduction with the highest momentary shaft power and where it stands, the free speed if the
    speed settles, load points and their curve. What current and power do is in the points.

    Notes
    -----
    docs/methods/run-up.md: the bandwidth of the slope, and how it enters the uncertainty. A motor
    running up is not in a steady state: with the electrical time constant close to the run-up's
    length, torque and power lag their steady values.
    """
    run = read_electrical(recording, plate=plate, rig=rig, with_torque=False)
    turning = read_turning(run)
    legs = rises(turning)[:1]
    errors = rig_errors(rig, options.ambient_k)
    metrics: dict[MetricName, Metric] = {M.FREE_SPEED: _free_speed(turning, legs, errors)}
    points: tuple[LoadPoint, ...] = ()
    curves: tuple[Curve, ...] = ()
    reason = NO_INERTIA
    if not legs:
        reason = NO_RISE
    elif rig.inertia_kg_m2:
        points = bin_points(run, turning, legs[0], rig)
        reason = f"fewer than {LEAST_POINTS} bins of speed hold {LEAST_IN_BIN} samples or more"
        top = float(turning.speed[legs[0].end - 1 :].max())
        parts: list[Part] = []
        if errors.inertia is not None:
            parts.append((errors.inertia, rig.inertia_kg_m2))
        metrics[M.STORED_ENERGY] = stored_energy(top, rig.inertia_kg_m2, parts)
        line = _fit(points)
        if line is not None:
            metrics |= _highest(line, points, turning, legs[0], rig, errors)
            curves = _curves(line)
    return Reduction(
        kind=RunKind.RUN_UP,
        method_version=METHOD_VERSIONS[RunKind.RUN_UP],
        metrics=complete(RunKind.RUN_UP, metrics, reason),
        findings=recording_findings(run.ordered, recording, rig=rig, options=options),
        segments=tuple(segment(SegmentKind.RUN_UP, turning, leg) for leg in legs),
        points=points,
        curves=curves,
        lag=Lag(None, False, "no torque channel is used"),
        trace=thin(run.ordered.time_s, dict(run.ordered.channels)),
        channels_used=run.channels_used,
    )


def _fit(points: tuple[LoadPoint, ...]) -> _Line | None:
    if len(points) < LEAST_POINTS:
        return None
    speed = np.array([p.speed_rad_s for p in points])
    power = np.array([p.shaft_power_w for p in points])
    u = np.array([p.u_shaft_power_w or 0.0 for p in points])
    floor = 5e-4 * float(np.max(np.abs(power)))
    fitted = choose_polynomial(speed, power, np.hypot(u, floor))
    windows = [p.end_s - p.start_s for p in points]
    return _Line(fitted, float(speed.min()), float(speed.max()), float(np.median(windows)))


def _highest(
    line: _Line,
    points: tuple[LoadPoint, ...],
    turning: Turning,
    leg: Leg,
    rig: Rig,
    errors: RigErrors,
) -> dict[MetricName, Metric]:
    """The highest power along the fitted curve, its speed and its torque."""
    x = np.linspace(line.low, line.high, GRID)
    peak = find_peak(x, line.power.at(x), line.power.u_at(x))
    speed = float(peak.x)
    power = float(line.power.at(speed))
    drag = float(drag_torque(np.array([speed]), rig)[0])
    of_inertia = power - drag * speed
    freedom = max(float(len(points) - line.power.order - 1), 1.0)
    u_fit = float(line.power.u_at(speed)[0])
    bend = abs(float(line.power.slope_at(speed, 2)))
    u_speed = line.power.u_slope_at(speed) / bend if bend > 0 and peak.is_bracketed else 0.0
    u_speed = min(u_speed, (line.high - line.low) / 4)
    parts: list[Part] = [(scatter(u_fit, freedom), 1.0)]
    parts += [(c, 2 * of_inertia) for c in errors.of(Channel.SPEED).gain]
    if errors.inertia is not None:
        parts.append((errors.inertia, of_inertia))
    if errors.drag is not None:
        parts.append((errors.drag, drag * speed))
    blur = _blur(turning, leg, speed, rig)
    if blur:
        parts.append((Component("bandwidth of the slope", blur), speed))
    place = (scatter(u_speed, freedom, "place of the highest power"), 1.0)
    torque_parts = [(c, by / speed) for c, by in parts]
    torque_parts.append((place[0], power / speed**2))
    return {
        M.SHAFT_POWER_MAX_MOMENTARY: figure(
            M.SHAFT_POWER_MAX_MOMENTARY, power, parts, lower_bound=not peak.is_bracketed
        ),
        M.SPEED_AT_MAX_MOMENTARY_POWER: figure(
            M.SPEED_AT_MAX_MOMENTARY_POWER,
            speed,
            [place, *reading_parts(errors, Channel.SPEED, speed)],
        ),
        M.TORQUE_AT_MAX_MOMENTARY_POWER: figure(
            M.TORQUE_AT_MAX_MOMENTARY_POWER, power / speed, torque_parts
        ),
    }


def _blur(turning: Turning, leg: Leg, speed_rad_s: float, rig: Rig) -> float:
    """Torque by which the slope's window rounds the curve off, as a standard uncertainty.

    A line over twice the window errs four times as much, so a third of the difference is the
    error of the single one.
    """
    time, speed = turning.time_s[leg.rows], turning.speed[leg.rows]
    at = int(np.argmin(np.abs(speed - speed_rad_s)))
    half = max(LEAST_IN_BIN // 2, round(speed.size / BINS / 2))
    slopes = [_slope(time, speed, at, half * n) for n in (1, 2)]
    noise = turning.noise_rad_s / math.sqrt(max(_spread(time, at, half), 1e-300))
    apart = abs(slopes[1] - slopes[0])
    return (rig.inertia_kg_m2 or 0.0) * apart / 3 / math.sqrt(3) if apart > 2 * noise else 0.0


def _slope(time: Floats, speed: Floats, at: int, half: int) -> float:
    rows = slice(max(at - half, 0), at + half + 1)
    t = time[rows] - time[rows].mean()
    return float(t @ speed[rows]) / float(t @ t)


def _spread(time: Floats, at: int, half: int) -> float:
    t = time[max(at - half, 0) : at + half + 1]
    return float(np.sum((t - t.mean()) ** 2))


def _curves(line: _Line) -> tuple[Curve, ...]:
    """Speed and power over torque, where torque falls with speed all along."""
    speed = np.linspace(line.high, line.low, 81)
    power, u_power = line.power.at(speed), line.power.u_at(speed)
    torque = power / speed
    rising = np.maximum.accumulate(torque)
    keep = torque >= rising
    if int(np.count_nonzero(keep)) < 2:
        return ()
    rate = HALF_POWER / line.window_s
    words = f"power over speed, {line.power.order} order; slopes up to {rate:.3g} Hz"
    fields = (("shaft_power", "W", power, u_power), ("speed", "rad/s", speed, np.zeros(81)))
    return tuple(
        Curve(
            quantity=quantity,
            unit=unit,
            torque_nm=tuple(torque[keep].tolist()),
            value=tuple(value[keep].tolist()),
            standard_uncertainty=tuple(u[keep].tolist()),
            beyond=(False,) * int(np.count_nonzero(keep)),
            fit=words,
        )
        for quantity, unit, value, u in fields
    )


def _free_speed(turning: Turning, legs: list[Leg], errors: RigErrors) -> Metric:
    """The speed after the run-up, if it stands still for long enough."""
    name = M.FREE_SPEED
    if not legs:
        return Metric.missing(name, NO_RISE)
    after = slice(legs[0].end, None)
    time, speed = turning.time_s[after], turning.speed[after]
    top = float(speed.max(initial=0.0))
    near = speed >= (1 - SETTLED_DRIFT) * top
    if turning.is_driven is not None:
        near &= turning.is_driven[after]
    if int(np.count_nonzero(near)) < LEAST_IN_BIN or float(np.ptp(time[near])) < SETTLED_S:
        return Metric.missing(name, "the speed did not settle after the run-up")
    time, speed = time[near], speed[near]
    half = time.size // 2  # the later half: what settles may still be rising
    time, speed = time[half:] - time[half:].mean(), speed[half:]
    mean, u, n_effective = mean_and_u(speed, np.ones(speed.size))
    rise = abs(float(time @ speed) / float(time @ time)) * float(np.ptp(time))
    parts = [(scatter(u, n_effective - 1), 1.0), *reading_parts(errors, Channel.SPEED, mean)]
    parts.append((Component.within("speed still rising", rise), 1.0))
    return figure(name, mean, parts)
