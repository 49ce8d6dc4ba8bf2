"""A run-up on inertia: torque against speed from how fast a known inertia speeds up."""

import math
from dataclasses import replace

import numpy as np

from server.model.bench import Plate, Rig
from server.model.measured import Metric
from server.model.recording import Recording
from server.model.results import Curve, Lag, LoadPoint, Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind, SegmentKind
from server.reduction.arrays import Floats
from server.reduction.curves import draw_curves
from server.reduction.electrical import read_electrical
from server.reduction.findings.records import recording_findings
from server.reduction.first_order import Part, complete, figure, reading_parts, scatter
from server.reduction.loadline import LoadLine, fit_load_line
from server.reduction.run_down import segment, stored_energy
from server.reduction.run_up_points import BINS, LEAST_IN_BIN, bin_points
from server.reduction.run_up_top import find_top, highest_figures
from server.reduction.scatter import mean_and_u
from server.reduction.trace import thin
from server.reduction.turning import Leg, Turning, read_turning, rises
from server.reduction.uncertainty.components import Component, RigErrors, rig_errors
from server.reduction.versions import METHOD_VERSIONS

M = MetricName
LEAST_POINTS = 6
HALF_POWER = 0.58  # a straight line's slope over a window: -3 dB at this over its length
NO_RISE = "the speed was never seen to rise under drive, by 30 % of the highest or more"
NO_INERTIA = "the inertia of what turns is not given: acceleration alone is no torque"
SETTLED_S = 0.5
SETTLED_DRIFT = 0.01


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
        fastest = float(turning.speed[legs[0].end - 1 :].max())
        parts: list[Part] = []
        if errors.inertia is not None:
            parts.append((errors.inertia, rig.inertia_kg_m2))
        metrics[M.STORED_ENERGY] = stored_energy(fastest, rig.inertia_kg_m2, parts)
        line = fit_load_line(points) if len(points) >= LEAST_POINTS else None
        if line is not None:
            top = find_top(line, points, plate=plate, rig=rig, ambient_k=options.ambient_k)
            blur = _blur(turning, legs[0], top.speed_rad_s, rig)
            metrics |= highest_figures(top, line, blur_nm=blur, rig=rig, errors=errors)
            curves = _curves(line, points)
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


def _curves(line: LoadLine, points: tuple[LoadPoint, ...]) -> tuple[Curve, ...]:
    """The line over torque, where torque falls with speed all along."""
    window_s = float(np.median([p.end_s - p.start_s for p in points]))
    words = f"; slopes up to {HALF_POWER / window_s:.3g} Hz"
    drawn = draw_curves(line)
    torque = np.array(drawn[0].torque_nm)
    keep = torque >= np.maximum.accumulate(torque)
    if int(np.count_nonzero(keep)) < 2:
        return ()

    def kept(values: tuple[float, ...]) -> tuple[float, ...]:
        return tuple(np.array(values)[keep].tolist())

    return tuple(
        replace(
            curve,
            torque_nm=kept(curve.torque_nm),
            value=kept(curve.value),
            standard_uncertainty=kept(curve.standard_uncertainty),
            beyond=(False,) * int(np.count_nonzero(keep)),
            fit=curve.fit + words,
        )
        for curve in drawn
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
