"""A brake run from recording to figures: the order of the steps, each in its own file."""

from dataclasses import dataclass

import numpy as np

from server.model.bench import Plate, Rig
from server.model.measured import Finding, Metric
from server.model.recording import Recording
from server.model.results import Lag, LoadPoint, Reduction, ReductionOptions, Segment
from server.model.words import Channel, MetricName, RunKind, SegmentKind
from server.reduction.blocks import Blocks, make_blocks
from server.reduction.load import Stretch, find_stretches, load_coordinate
from server.reduction.loadline import LoadLine, fit_load_line
from server.reduction.metrics import (
    NO_LINE,
    Budget,
    efficiency_metrics,
    free_metrics,
    is_dc_supply,
    peak_metrics,
    rated_metrics,
)
from server.reduction.momentary import Momentary, highest_momentary
from server.reduction.ordering import Ordered, order_rows
from server.reduction.peak import Peak
from server.reduction.points import Group, average, group_blocks
from server.reduction.signals import Signals, choose_signals
from server.reduction.states import State, States, find_states
from server.reduction.torque import Shaft, shaft_torque
from server.reduction.trace import thin
from server.reduction.versions import METHOD_VERSIONS
from server.reduction.zero import Zero, find_zero

M = MetricName
FREE_TORQUE_SHARE = 0.08  # of the highest brake torque: more is a load


@dataclass(frozen=True, slots=True)
class Worked:
    """Everything between the recording and the figures; findings are judged on it."""

    ordered: Ordered
    signals: Signals
    blocks: Blocks
    states: States
    zero: Zero
    shaft: Shaft
    lag: Lag
    stretches: tuple[Stretch, ...]
    points: tuple[LoadPoint, ...]
    free: LoadPoint | None
    line: LoadLine | None
    peak: Peak | None
    momentary: Momentary
    metrics: dict[MetricName, Metric]


def reduce_brake_run(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce a brake run; see `reduce_run` for what it promises."""
    worked = work_through(recording, plate=plate, rig=rig, options=options)
    findings: tuple[Finding, ...] = ()
    return Reduction(
        kind=RunKind.BRAKE,
        method_version=METHOD_VERSIONS[RunKind.BRAKE],
        metrics=worked.metrics,
        findings=findings,
        segments=_segments(worked),
        points=worked.points,
        curves=(),
        lag=worked.lag,
        trace=thin(worked.ordered.time_s, worked.ordered.channels),
        channels_used=_channels_used(worked.signals),
    )


def work_through(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Worked:
    """Do every step of the reduction but the findings."""
    ordered = order_rows(recording.time_s, recording.channels)
    signals = choose_signals(ordered.time_s, ordered.channels, rig=rig, plate=plate)
    blocks = make_blocks(signals, mains_hz=plate.frequency_hz)
    states = find_states(blocks)
    zero = find_zero(blocks, states)
    shaft = _signed_shaft(blocks, states, zero, rig)
    stretches = find_stretches(blocks, states, shaft, min_dwell_s=options.min_dwell_s)
    z, _ = load_coordinate(blocks, states, shaft)
    is_dc = is_dc_supply(plate)
    groups = group_blocks(stretches, z, blocks.time_s)
    points = choose_points([average(g, blocks, shaft, is_dc=is_dc) for g in groups])
    free = find_free(groups, shaft, blocks, is_dc=is_dc)
    line = fit_load_line(points)
    budget = Budget(
        rig=rig,
        torque_channel=signals.torque_channel,
        u_zero_nm=zero.u_nm,
        is_input_metered=signals.power is not None,
        is_dc=is_dc,
    )
    usable = states.is_(State.RUNNING)
    momentary = highest_momentary(signals, blocks, shaft, zero, rig, usable=usable)
    metrics: dict[MetricName, Metric] = {}
    peak = None
    if line is not None:
        found, peak = peak_metrics(line, budget)
        metrics |= found | efficiency_metrics(line, budget)
    metrics |= rated_metrics(line, plate, budget) | free_metrics(free, budget)
    if momentary.shaft_w is not None:
        metrics[M.SHAFT_POWER_MAX_MOMENTARY] = Metric(
            M.SHAFT_POWER_MAX_MOMENTARY, momentary.shaft_w, momentary.u_shaft_w
        )
    if momentary.brake_w is not None:
        metrics[M.BRAKE_READING_WHILE_SLOWING] = Metric(
            M.BRAKE_READING_WHILE_SLOWING, momentary.brake_w, momentary.u_brake_w
        )
    for name in MetricName:
        if name not in metrics and name not in (M.IMPLIED_CURRENT, M.ROTOR_ENERGY_TIME):
            metrics[name] = Metric.missing(name, NO_LINE)
    return Worked(
        ordered, signals, blocks, states, zero, shaft, Lag(None, False, "not looked for"),
        tuple(stretches), tuple(points), free, line, peak, momentary, metrics,
    )  # fmt: skip


def choose_points(points: list[LoadPoint]) -> list[LoadPoint]:
    """Dwells alone where they cover the load, else dwells and sweep bins together."""
    dwells = [p for p in points if p.is_dwell]
    if len(dwells) >= 5 and len(points) > len(dwells):
        top = max(p.torque_nm for p in points)
        steps = {round(p.torque_nm / top * 25) for p in dwells} if top > 0 else set()
        covered = max(p.torque_nm for p in dwells) >= 0.9 * top
        if len(steps) >= 5 and covered:
            return dwells
    return points


def find_free(
    groups: list[Group], shaft: Shaft, blocks: Blocks, *, is_dc: bool
) -> LoadPoint | None:
    """The fastest dwell, if the brake took next to nothing there."""
    dwells = [g for g in groups if g.is_dwell]
    if not dwells:
        return None
    brake = [float(np.mean(shaft.brake_torque[g.first : g.end])) for g in groups]
    fastest = max(dwells, key=lambda g: float(np.mean(shaft.speed[g.first : g.end])))
    carried = brake[groups.index(fastest)]
    if abs(carried) > FREE_TORQUE_SHARE * max(brake):
        return None
    return average(fastest, blocks, shaft, is_dc=is_dc)


def _signed_shaft(blocks: Blocks, states: States, zero: Zero, rig: Rig) -> Shaft:
    running = (
        states.is_(State.RUNNING)
        if states.is_(State.RUNNING).any()
        else np.ones(blocks.size, dtype=bool)
    )
    speed_sign = 1 if float(np.median(blocks.speed[running])) >= 0 else -1
    torque = blocks.torque[running] - zero.offset_nm[running]
    heavy = np.abs(torque) >= np.percentile(np.abs(torque), 70)
    torque_sign = 1 if float(np.mean(torque[heavy])) >= 0 else -1
    return shaft_torque(blocks, zero, rig, torque_sign=torque_sign, speed_sign=speed_sign)


def _segments(worked: Worked) -> tuple[Segment, ...]:
    blocks = worked.blocks
    found = []
    for s in worked.stretches:
        start = float(blocks.start_s[s.first])
        kind = s.kind
        if (
            worked.free is not None
            and kind is SegmentKind.STEADY_DWELL
            and start == worked.free.start_s
        ):
            kind = SegmentKind.FREE_RUNNING
        last = s.end - 1
        found.append(
            Segment(
                kind=kind,
                start_s=start,
                end_s=float(blocks.end_s[last]),
                first_row=int(blocks.first_row[s.first]),
                last_row=int(blocks.first_row[last] + blocks.n_rows[last] - 1),
            )
        )
    return tuple(found)


def _channels_used(signals: Signals) -> tuple[Channel, ...]:
    used = [Channel.TIME, Channel.SPEED, signals.torque_channel]
    optional = {
        Channel.VOLTAGE: signals.voltage,
        Channel.CURRENT: signals.current,
        Channel.POWER: signals.power,
        Channel.POWER_FACTOR: signals.power_factor if signals.power is None else None,
        Channel.APPARENT_POWER: signals.apparent,
    }
    return (*used, *(c for c, a in optional.items() if a is not None))
