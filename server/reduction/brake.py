"""A brake run from recording to figures: the order of the steps, each in its own file."""

from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace

import numpy as np

from server.model.bench import Plate, Rig
from server.model.motor import MotorFit
from server.model.recording import Recording
from server.model.results import (
    Lag,
    LoadPoint,
    Reduction,
    ReductionOptions,
    Segment,
    Trace,
)
from server.model.words import Channel, RunKind, SegmentKind, Supply
from server.reduction.arrays import Bools
from server.reduction.blocks import Blocks, make_blocks
from server.reduction.brake_metrics import all_figures, complete_brake
from server.reduction.curves import draw_curves
from server.reduction.findings import judge
from server.reduction.lag import find_lag
from server.reduction.leads import without_leads
from server.reduction.load import Stretch, find_stretches, load_coordinate
from server.reduction.loadline import fit_load_line
from server.reduction.momentary import highest_momentary
from server.reduction.motors.describe import motor_of_run
from server.reduction.ordering import Ordered, order_rows
from server.reduction.points import Group, average, group_blocks
from server.reduction.signals import Signals, choose_signals
from server.reduction.states import State, States, find_states
from server.reduction.torque import Shaft, shaft_torque, with_dwell_slopes
from server.reduction.trace import thin
from server.reduction.uncertainty.brake_figures import with_uncertainties
from server.reduction.versions import METHOD_VERSIONS
from server.reduction.worked import Worked
from server.reduction.zero import Zero, find_zero

FREE_TORQUE_SHARE = 0.08  # of the highest brake torque: more is a load
LEAST_DWELLS = 5
DWELLS_COVER = 0.6
UNSURE = 0.05  # of the highest power


def reduce_brake_run(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce a brake run; see `reduce_run` for what it promises."""
    ordered = order_rows(recording.time_s, recording.channels)
    signals = choose_signals(ordered.time_s, ordered.channels, rig=rig, plate=plate)
    # Thinning leaves the interpreter's lock and depends on nothing else: it goes on beside.
    with ThreadPoolExecutor(max_workers=1) as beside:
        thinned = beside.submit(thin, ordered.time_s, ordered.channels)
        if not np.isfinite(signals.torque_factor):
            return without_arm(signals, thinned.result(), plate)
        worked = work_through(ordered, signals, plate=plate, rig=rig, options=options)
        worked, drawn = with_uncertainties(worked, recording, plate=plate, rig=rig, options=options)
        trace = thinned.result()
    reduction = Reduction(
        kind=RunKind.BRAKE,
        method_version=METHOD_VERSIONS[RunKind.BRAKE],
        metrics=worked.metrics,
        findings=(*judge(worked, recording, plate=plate, rig=rig, options=options), *drawn),
        segments=_segments(worked),
        points=worked.points,
        curves=draw_curves(worked.line),
        lag=worked.lag,
        trace=trace,
        channels_used=channels_used(signals),
    )
    motor = motor_of_run(reduction, worked.law, plate=plate, winding=options.winding)
    return replace(reduction, motor=motor)


def without_arm(signals: Signals, trace: Trace | None, plate: Plate) -> Reduction:
    """Force without an arm: every figure has that for its reason."""
    reason = "force was logged, but the length of the arm is not given"
    return Reduction(
        kind=RunKind.BRAKE,
        method_version=METHOD_VERSIONS[RunKind.BRAKE],
        metrics=complete_brake({}, reason),
        lag=Lag(None, False, reason),
        trace=trace,
        channels_used=channels_used(signals),
        motor=MotorFit(family=plate.motor_family, reason=reason),
    )


def work_through(
    ordered: Ordered, signals: Signals, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Worked:
    """Do every step of the reduction but the findings."""
    blocks = _blocks(signals, plate, rig)
    states = find_states(blocks)
    zero = find_zero(blocks, states)
    shaft = signed_shaft(blocks, states, zero, rig)
    lag = find_lag(blocks, states, shaft)
    if lag.applied and lag.seconds is not None:
        signals = _shifted(signals, lag.seconds)
        blocks = _blocks(signals, plate, rig)
        zero = find_zero(blocks, states)
        shaft = signed_shaft(blocks, states, zero, rig)
    z, noise = load_coordinate(blocks, states, shaft)
    found = find_stretches(blocks, states, shaft.speed, z, noise, min_dwell_s=options.min_dwell_s)
    dwells = [(s.first, s.end) for s in found if s.kind is SegmentKind.STEADY_DWELL]
    shaft = with_dwell_slopes(shaft, blocks.time_s, dwells)
    is_dc = plate.supply is Supply.DC
    groups = tuple(group_blocks(found, z, blocks.time_s))
    usable = states.is_(State.RUNNING)
    if rig.inertia_kg_m2 is None:
        usable &= _in_dwells(groups, blocks)
    points, groups = choose_points([(average(g, blocks, shaft, is_dc=is_dc), g) for g in groups])
    worked = Worked(
        ordered=ordered,
        signals=signals,
        blocks=blocks,
        states=states,
        zero=zero,
        shaft=shaft,
        lag=lag,
        stretches=tuple(found),
        points=points,
        brake_torque_nm=tuple(float(np.mean(shaft.brake_torque[g.first : g.end])) for g in groups),
        brake_power_w=tuple(float(np.mean(shaft.brake_power[g.first : g.end])) for g in groups),
        free=find_free(points, groups, shaft),
        line=fit_load_line(points),
        peak=None,
        momentary=highest_momentary(signals, blocks, shaft, zero, rig, usable=usable, lag=lag),
        is_dc=is_dc,
    )
    return all_figures(worked, plate, rig, options.ambient_k)


def _blocks(signals: Signals, plate: Plate, rig: Rig) -> Blocks:
    blocks = make_blocks(signals, mains_hz=plate.frequency_hz)
    return without_leads(blocks, rig, is_dc=plate.supply is Supply.DC)


def choose_points(
    found: list[tuple[LoadPoint, Group]],
) -> tuple[tuple[LoadPoint, ...], tuple[Group, ...]]:
    """Dwells alone where they cover the load, else dwells and sweep bins together.

    They cover it with five or more different speeds over `DWELLS_COVER` of the speeds seen.
    Sweep bins whose inertia term is too unsure to say anything are left out.
    """
    dwells = [pair for pair in found if pair[0].is_dwell]
    speeds = np.array([p.speed_rad_s for p, _ in found])
    of_dwells = np.array([p.speed_rad_s for p, _ in dwells])
    kept = found
    span = float(np.ptp(speeds)) if found else 0.0
    if len(dwells) >= LEAST_DWELLS and span > 0:
        n_different = np.unique(np.round(of_dwells / span * 25)).size
        if n_different >= LEAST_DWELLS and float(np.ptp(of_dwells)) >= DWELLS_COVER * span:
            kept = dwells
    if kept is found and len(found) > 2 * LEAST_DWELLS:
        top = max(p.shaft_power_w for p, _ in found)
        sure = [(p, g) for p, g in found if (p.u_shaft_power_w or 0.0) <= UNSURE * top]
        kept = sure if len(sure) > LEAST_DWELLS else found
    return tuple(p for p, _ in kept), tuple(g for _, g in kept)


def find_free(
    points: tuple[LoadPoint, ...], groups: tuple[Group, ...], shaft: Shaft
) -> LoadPoint | None:
    """The fastest dwell, if the brake took next to nothing there."""
    brake = [float(np.mean(shaft.brake_torque[g.first : g.end])) for g in groups]
    dwells = [i for i, p in enumerate(points) if p.is_dwell]
    if not dwells:
        return None
    fastest = max(dwells, key=lambda i: points[i].speed_rad_s)
    is_free = abs(brake[fastest]) <= FREE_TORQUE_SHARE * max(brake)
    return points[fastest] if is_free else None


def _in_dwells(groups: Sequence[Group], blocks: Blocks) -> Bools:
    inside = np.zeros(blocks.size, dtype=bool)
    for group in groups:
        if group.is_dwell:
            inside[group.first : group.end] = True
    return inside


def _shifted(signals: Signals, lag_s: float) -> Signals:
    shifted = np.interp(signals.time_s + lag_s, signals.time_s, signals.torque)
    return signals.with_torque(shifted.astype(np.float32))


def signed_shaft(blocks: Blocks, states: States, zero: Zero, rig: Rig) -> Shaft:
    running = states.is_(State.RUNNING)
    if not running.any():
        running = np.ones(blocks.size, dtype=bool)
    speed_sign = 1 if float(np.median(blocks.speed[running])) >= 0 else -1
    torque = blocks.torque[running] - zero.offset_nm[running]
    heavy = np.abs(torque) >= np.percentile(np.abs(torque), 70)
    torque_sign = 1 if float(np.mean(torque[heavy])) >= 0 else -1
    return shaft_torque(blocks, zero, rig, torque_sign=torque_sign, speed_sign=speed_sign)


def _segments(worked: Worked) -> tuple[Segment, ...]:
    blocks = worked.blocks
    return tuple(
        Segment(
            kind=_kind(s, worked),
            start_s=float(blocks.start_s[s.first]),
            end_s=float(blocks.end_s[s.end - 1]),
            first_row=int(blocks.first_row[s.first]),
            last_row=int(blocks.first_row[s.end - 1] + blocks.n_rows[s.end - 1] - 1),
        )
        for s in worked.stretches
    )


def _kind(stretch: Stretch, worked: Worked) -> SegmentKind:
    start = float(worked.blocks.start_s[stretch.first])
    end = float(worked.blocks.end_s[stretch.end - 1])
    is_free = worked.free is not None and start <= worked.free.start_s < end
    if stretch.kind is SegmentKind.STEADY_DWELL and is_free:
        return SegmentKind.FREE_RUNNING
    return stretch.kind


def channels_used(signals: Signals) -> tuple[Channel, ...]:
    used = [Channel.TIME, Channel.SPEED, signals.torque_channel]
    optional = {
        Channel.VOLTAGE: signals.voltage,
        Channel.CURRENT: signals.current,
        Channel.POWER: signals.power,
        Channel.POWER_FACTOR: signals.power_factor if signals.power is None else None,
        Channel.APPARENT_POWER: signals.apparent,
    }
    return (*used, *(c for c, a in optional.items() if a is not None))
