"""A brake run noted by hand: each row is a load point, and the brake run's method does the rest."""

from dataclasses import replace

import numpy as np

from server.model.bench import Plate, Rig
from server.model.measured import Metric
from server.model.recording import Recording
from server.model.results import Lag, Reduction, ReductionOptions, Segment
from server.model.words import Channel, FindingCode, MetricName, RunKind, SegmentKind, Supply
from server.reduction.arrays import Bools
from server.reduction.blocks import Blocks
from server.reduction.brake import (
    channels_used,
    find_free,
    signed_shaft,
    without_arm,
)
from server.reduction.brake_metrics import all_figures
from server.reduction.by_row import ROWS_WITHOUT_TIME
from server.reduction.curves import draw_curves
from server.reduction.electrical import row_blocks
from server.reduction.findings import judge
from server.reduction.leads import without_leads
from server.reduction.load import Stretch
from server.reduction.loadline import fit_load_line
from server.reduction.momentary import Momentary
from server.reduction.motors.describe import motor_of_run
from server.reduction.ordering import Ordered, order_rows
from server.reduction.points import Group, average
from server.reduction.row_scatter import row_roundings, with_row_scatter
from server.reduction.scatter import mean_and_u
from server.reduction.signals import Signals, choose_signals
from server.reduction.states import State, States
from server.reduction.trace import thin
from server.reduction.uncertainty.brake_figures import with_uncertainties
from server.reduction.versions import METHOD_VERSIONS
from server.reduction.worked import Worked
from server.reduction.zero import Zero

M = MetricName
STANDSTILL_SHARE = 0.02  # of the highest speed
NO_CURRENT_SHARE = 0.01  # of the largest current
NOT_OF_ROWS = frozenset({FindingCode.SAMPLE_RATE_LOW, FindingCode.CHANNELS_LAG})
NOT_MOMENTARY = "readings noted one by one hold no momentary figure"


def reduce_hand_readings(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce a brake run whose rows were noted one by one; see `reduce_run` for what it promises.

    Model:  each row is a steady load: T = T_sensor - zero + drag(w), P = T w; then the load line,
            the figures and their uncertainty of a brake run

    Returns
    -------
    Reduction of kind brake with the brake run's figures; momentary ones have a reason instead.
    Each row is a segment and a load point of one reading; scatter is what the rows leave about
    the load line.

    Notes
    -----
    docs/methods/hand-readings.md. Nothing is bridged, repaired or averaged. Rows at rest without
    current are the torque's zero, rows at rest under current a held rotor.
    """
    rig = replace(rig, inertia_kg_m2=None)  # nothing is seen to speed up or slow down
    ordered = order_rows(recording.time_s, recording.channels)
    signals = choose_signals(
        ordered.time_s, ordered.channels, rig=rig, plate=plate, rows_are_points=True
    )
    has_times = ROWS_WITHOUT_TIME not in recording.notes
    trace = thin(ordered.time_s, ordered.channels) if has_times else None
    if not np.isfinite(signals.torque_factor):
        return without_arm(signals, trace, plate)
    worked = work_rows(ordered, signals, plate=plate, rig=rig)
    worked = all_figures(worked, plate, rig, options.ambient_k)
    worked = replace(worked, metrics=worked.metrics | _of_rows(worked))
    worked, drawn = with_uncertainties(worked, recording, plate=plate, rig=rig, options=options)
    findings = (*judge(worked, recording, plate=plate, rig=rig, options=options), *drawn)
    reduction = Reduction(
        kind=RunKind.BRAKE,
        method_version=METHOD_VERSIONS[RunKind.BRAKE],
        metrics=worked.metrics,
        findings=tuple(f for f in findings if f.code not in NOT_OF_ROWS),
        segments=_segments(worked),
        points=worked.points,
        curves=draw_curves(worked.line),
        lag=worked.lag,
        trace=trace,
        channels_used=tuple(c for c in channels_used(signals) if has_times or c != Channel.TIME),
    )
    motor = motor_of_run(reduction, worked.law, plate=plate, winding=options.winding)
    return replace(reduction, motor=motor)


def work_rows(ordered: Ordered, signals: Signals, *, plate: Plate, rig: Rig) -> Worked:
    """Every row that turns as a load point, and the load line through them. No figures yet."""
    is_dc = plate.supply is Supply.DC
    blocks = without_leads(row_blocks(signals), rig, is_dc=is_dc)
    states = _states(blocks)
    zero = _zero(blocks, states.is_(State.OFF))
    shaft = signed_shaft(blocks, states, zero, rig)
    rows = np.flatnonzero(states.is_(State.RUNNING)).tolist()
    groups = tuple(Group(True, i, i + 1) for i in rows)
    found = [average(group, blocks, shaft, is_dc=is_dc) for group in groups]
    points = with_row_scatter(found, row_roundings(signals, rig))
    return Worked(
        ordered=ordered,
        signals=signals,
        blocks=blocks,
        states=states,
        zero=zero,
        shaft=shaft,
        lag=Lag(None, False, "readings noted one by one do not lag"),
        stretches=tuple(Stretch(SegmentKind.STEADY_DWELL, i, i + 1) for i in rows),
        points=points,
        brake_torque_nm=tuple(float(shaft.brake_torque[i]) for i in rows),
        brake_power_w=tuple(float(shaft.brake_power[i]) for i in rows),
        free=find_free(points, groups, shaft) if points else None,
        line=fit_load_line(points),
        peak=None,
        momentary=Momentary(None, None, None, None, 0.0),
        is_dc=is_dc,
    )


def _states(blocks: Blocks) -> States:
    """Turning rows run; rows at rest are off, or held where current or power is drawn."""
    speed = np.abs(blocks.speed)
    scale = float(speed.max(initial=0.0))
    drive = blocks.current if blocks.current is not None else blocks.power
    level = np.zeros(blocks.size) if drive is None else np.abs(np.nan_to_num(drive, nan=0.0))
    largest = float(level.max(initial=0.0))
    is_drawn = level > NO_CURRENT_SHARE * largest
    still = speed <= STANDSTILL_SHARE * scale
    state = np.full(blocks.size, State.RUNNING, dtype=np.int8)
    state[still & ~is_drawn] = State.OFF
    state[still & is_drawn] = State.HELD
    return States(
        state=state, speed_scale=scale, drive_scale=largest if drive is not None else None
    )


def _zero(blocks: Blocks, off: Bools) -> Zero:
    """The mean of the torque noted at rest; nothing is taken off where none was."""
    if not off.any():
        return Zero(None, None, 0.0, np.zeros(blocks.size))
    mean, u, _ = mean_and_u(blocks.torque[off], np.ones(int(np.count_nonzero(off))))
    return Zero(mean, None, u, np.full(blocks.size, mean))


def _of_rows(worked: Worked) -> dict[MetricName, Metric]:
    """Figures that rows have in another way than a log, or not at all."""
    made = {
        name: Metric.missing(name, NOT_MOMENTARY)
        for name in (M.SHAFT_POWER_MAX_MOMENTARY, M.BRAKE_READING_WHILE_SLOWING)
    }
    power, held = worked.blocks.power, worked.states.is_(State.HELD)
    if power is not None and held.any() and np.isfinite(power[held]).any():
        mean, u, _ = mean_and_u(power[held], np.ones(int(np.count_nonzero(held))))
        made[M.INPUT_ROTOR_HELD] = Metric(M.INPUT_ROTOR_HELD, mean, u)
    return made


def _segments(worked: Worked) -> tuple[Segment, ...]:
    blocks = worked.blocks
    free = worked.free.start_s if worked.free is not None else None
    return tuple(
        Segment(
            kind=SegmentKind.FREE_RUNNING
            if float(blocks.start_s[s.first]) == free
            else SegmentKind.STEADY_DWELL,
            start_s=float(blocks.start_s[s.first]),
            end_s=float(blocks.end_s[s.first]),
            first_row=int(blocks.first_row[s.first]),
            last_row=int(blocks.first_row[s.first]),
        )
        for s in worked.stretches
    )
