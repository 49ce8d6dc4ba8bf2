"""A run-down: speed against time with no drive, to drag torque or to moment of inertia."""

import math
from dataclasses import replace
from itertools import compress

from server.model.bench import Plate, Rig
from server.model.measured import Metric
from server.model.recording import Recording
from server.model.results import Lag, LoadPoint, Reduction, ReductionOptions, Segment
from server.model.words import Channel, MetricName, RunKind, SegmentKind
from server.reduction.arrays import Floats
from server.reduction.coasting import Coast, by_pace, fit_coast
from server.reduction.electrical import Electrical, read_electrical
from server.reduction.findings.records import recording_findings
from server.reduction.first_order import Part, complete, figure, reading_parts, scatter
from server.reduction.inertia import Inertia, find_inertia
from server.reduction.trace import thin
from server.reduction.turning import Leg, Turning, equal_steps, falls, read_turning
from server.reduction.uncertainty.components import RigErrors, rig_errors
from server.reduction.versions import METHOD_VERSIONS

M = MetricName
TERMS = (M.DRAG_CONSTANT, M.DRAG_LINEAR, M.DRAG_QUADRATIC)
BINS = 12
LEAST_IN_BIN = 4
NO_FALL = "the speed was never seen to fall with no drive, by 30 % of the highest or more"
NO_INERTIA = "the inertia of what turned is not given"


def reduce_run_down(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce a run-down; see `reduce_run` for what it promises.

    Model:  J dw/dt = -T(w),  T(w) = c0 + c1 w + c2 w^2 with the terms the data ask for

    Parameters
    ----------
    rig : with `inertia_kg_m2` (all that turned; else `rotor_inertia_kg_m2`, a bare rotor) the drag
        comes out; with `drag` instead, the whole drag of what turned against speed, the inertia.
    options : `added_inertia_kg_m2`, fixed on the shaft for the slower of the run-downs in the
        file: inertia and drag without it both come out.

    Returns
    -------
    Reduction with `drag` at the highest speed and its coefficients, or `rotor_inertia`; the
    deceleration and the stored energy beside them; load points of drag against speed.

    Notes
    -----
    docs/methods/run-down.md. The speed is fitted through its integrals, not differentiated.
    """
    run = read_electrical(recording, plate=plate, rig=rig, with_torque=False)
    turning = read_turning(run)
    legs = falls(turning)
    pieces = [(turning.time_s[leg.rows], turning.speed[leg.rows]) for leg in legs]
    added = options.added_inertia_kg_m2
    groups = by_pace(pieces) if added is not None else None
    bare = pieces if groups is None else groups[0]
    coast = fit_coast(bare)
    errors = rig_errors(rig, options.ambient_k)
    metrics: dict[MetricName, Metric] = {}
    points: tuple[LoadPoint, ...] = ()
    reason = NO_FALL
    if coast is not None:
        top = coast.top_rad_s
        inertia, metrics = find_inertia(
            pieces, rig, errors, top_rad_s=top, added=added, groups=groups
        )
        metrics |= _deceleration(coast, errors)
        metrics |= _drag(coast, inertia, rig, errors, is_added=added is not None)
        if inertia is not None:
            is_bare = [any(piece is one for one in bare) for piece in pieces]
            points = _points(turning, list(compress(legs, is_bare)), inertia)
            metrics[M.STORED_ENERGY] = stored_energy(top, inertia.value, inertia.parts)
        reason = NO_INERTIA
    return Reduction(
        kind=RunKind.RUN_DOWN,
        method_version=METHOD_VERSIONS[RunKind.RUN_DOWN],
        metrics=complete(RunKind.RUN_DOWN, metrics, reason),
        findings=recording_findings(run.ordered, recording, rig=rig, options=options),
        segments=tuple(segment(SegmentKind.RUN_DOWN, turning, leg) for leg in legs),
        points=points,
        lag=Lag(None, False, "no torque channel is used"),
        trace=thin(run.ordered.time_s, dict(run.ordered.channels)),
        channels_used=_used(run),
    )


def _used(run: Electrical) -> tuple[Channel, ...]:
    drive = (Channel.CURRENT, Channel.POWER)
    is_used = {Channel.TIME, Channel.SPEED, *(c for c in drive if c in run.channels_used)}
    return tuple(c for c in run.channels_used if c in is_used)


def _speed_parts(coast: Coast, errors: RigErrors, at: float) -> list[Part]:
    """What the speed's instrument does to the deceleration at a stated speed."""
    value, slope = coast.at(at), coast.slope_at(at)
    of_speed = errors.of(Channel.SPEED)
    parts: list[Part] = [(component, value - at * slope) for component in of_speed.gain]
    return parts + [(component, -slope) for component in of_speed.offset]


def _deceleration(coast: Coast, errors: RigErrors) -> dict[MetricName, Metric]:
    top = coast.top_rad_s
    parts = [(scatter(coast.u_at(top), coast.degrees_of_freedom), 1.0)]
    parts += _speed_parts(coast, errors, top)
    of_speed = reading_parts(errors, Channel.SPEED, top)
    return {
        M.SPEED_HIGHEST: figure(M.SPEED_HIGHEST, top, of_speed),
        M.DECELERATION: figure(M.DECELERATION, coast.at(top), parts),
    }


def _drag(
    coast: Coast, inertia: Inertia | None, rig: Rig, errors: RigErrors, *, is_added: bool
) -> dict[MetricName, Metric]:
    """Drag at the highest speed and its coefficients, where the inertia was given."""
    names = (M.DRAG, *TERMS)
    if inertia is None:
        return {n: Metric.missing(n, NO_INERTIA) for n in names}
    if not is_added and rig.inertia_kg_m2 is None and rig.rotor_inertia_kg_m2 is None:
        return {n: Metric.missing(n, "the drag is given, so the inertia comes out") for n in names}
    j, top = inertia.value, coast.top_rad_s
    # The inertia's parts are for the inertia itself: relative ones carry J, drag carries a.
    scaled = [(component, by * coast.at(top)) for component, by in inertia.parts]
    parts = [(scatter(j * coast.u_at(top), coast.degrees_of_freedom), 1.0), *scaled]
    parts += [(c, j * by) for c, by in _speed_parts(coast, errors, top)]
    made = {M.DRAG: figure(M.DRAG, j * coast.at(top), parts)}
    of_speed = errors.of(Channel.SPEED)
    shifts = (-coast.coefficients[1], -2 * coast.coefficients[2], 0.0)
    for power, name in enumerate(TERMS):
        value = coast.coefficients[power]
        if power not in coast.powers:
            made[name] = Metric.missing(name, "the speeds of this run ask for no such part")
            continue
        u = j * math.sqrt(coast.covariance[power, power])
        parts = [(scatter(u, coast.degrees_of_freedom), 1.0)]
        parts += [(component, by * value) for component, by in inertia.parts]
        parts += [(c, j * value * (1 - power)) for c in of_speed.gain]
        parts += [(c, j * shifts[power]) for c in of_speed.offset]
        made[name] = figure(name, j * value, parts)
    return made


def stored_energy(top_rad_s: float, inertia: float, parts: list[Part]) -> Metric:
    """Energy of what turns at its highest speed: J w^2 / 2."""
    half_square = top_rad_s**2 / 2
    moved = [(component, by * half_square) for component, by in parts]
    return figure(M.STORED_ENERGY, inertia * half_square, moved)


def _points(turning: Turning, legs: list[Leg], inertia: Inertia) -> tuple[LoadPoint, ...]:
    """Drag read off local slopes, in bins of equal steps of speed."""
    points: list[LoadPoint] = []
    for leg in legs:
        time, speed = turning.time_s[leg.rows], turning.speed[leg.rows]
        for rows in equal_steps(speed, BINS):
            if rows.size >= LEAST_IN_BIN:
                found = _point(time[rows], speed[rows], inertia.value, turning.noise_rad_s)
                first, last = leg.first + int(rows[0]), leg.first + int(rows[-1])
                first_row, last_row = _rows_as_read(turning, first, last)
                points.append(replace(found, first_row=first_row, last_row=last_row))
    return tuple(points)


def _rows_as_read(turning: Turning, first: int, last: int) -> tuple[int, int]:
    """From the first row behind one sample to the last behind another."""
    end = int(turning.row[last + 1]) - 1 if last + 1 < turning.row.size else int(turning.row[last])
    return int(turning.row[first]), end


def _point(time: Floats, speed: Floats, inertia: float, noise: float) -> LoadPoint:
    t = time - time.mean()
    spread = float(t @ t)
    torque = -inertia * float(t @ speed) / spread
    mean = float(speed.mean())
    u_torque = inertia * noise / math.sqrt(spread)
    return LoadPoint(
        start_s=float(time[0]),
        end_s=float(time[-1]),
        is_dwell=False,
        n_samples=int(time.size),
        n_effective=float(time.size),
        torque_nm=torque,
        speed_rad_s=mean,
        shaft_power_w=torque * mean,
        u_torque_nm=u_torque,
        u_speed_rad_s=noise / math.sqrt(time.size),
        u_shaft_power_w=u_torque * mean,
    )


def segment(kind: SegmentKind, turning: Turning, leg: Leg) -> Segment:
    after = leg.end if leg.end < turning.row.size else leg.end - 1
    return Segment(
        kind=kind,
        start_s=float(turning.time_s[leg.first]),
        end_s=float(turning.time_s[leg.end - 1]),
        first_row=int(turning.row[leg.first]),
        last_row=int(turning.row[after]) - (1 if after == leg.end else 0),
    )
