"""A held rotor: what is drawn and what torque it makes. Its shaft power is zero by definition."""

import numpy as np

from server.model.bench import Plate, Rig
from server.model.measured import Metric
from server.model.recording import Recording
from server.model.results import Lag, Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind
from server.reduction.arrays import Bools
from server.reduction.by_row import rows_are_points
from server.reduction.electrical import Electrical, read_electrical
from server.reduction.findings.records import recording_findings
from server.reduction.first_order import Part, complete, figure, reading_parts
from server.reduction.mean_figures import (
    channel_figure,
    factor_figure,
    input_figure,
    mean_of,
    state_means,
    voltage_figure,
)
from server.reduction.states import stretches
from server.reduction.steady_rows import Steady, longest, steady_segments
from server.reduction.trace import thin
from server.reduction.uncertainty.components import Component, RigErrors, rig_errors
from server.reduction.versions import METHOD_VERSIONS

M = MetricName
DRIVEN_SHARE = 0.3  # of the largest current: a held rotor draws the most there is
STILL_SHARE = 0.02  # of the plate's speed, or of the run's
STILL_RAD_S = 3.0  # where neither tells: some 30 r/min
SETTLE_S = 0.1  # the current's own rise, and the windows that reach across switching on
LEAST_S = 0.2
NOT_HELD = "the rotor was never seen standing still under current"


def reduce_locked_rotor(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce a brief run with the rotor held; see `reduce_run` for what it promises.

    Model:  means over the longest stretch under current at zero speed; T = force x arm, or torque,
            less the sensor's reading before the current; P_shaft = T w = 0 as w = 0

    Returns
    -------
    Reduction with input power, current, voltage, power factor and torque; `shaft_power_rotor_held`
    is 0 with no uncertainty: it follows from the definition, not from a measurement. Without a
    speed channel the sender's word, that the rotor is held, is taken.

    Notes
    -----
    docs/methods/locked-rotor.md. The winding warms by the second: what drifts while it lasts is a
    component of the uncertainty.
    """
    by_row = rows_are_points(recording, options)
    run = read_electrical(recording, plate=plate, rig=rig, with_torque=True, by_row=by_row)
    is_held, is_off = _held(run, plate)
    found = _stretches(run, is_held, by_row=by_row)
    chosen = longest(found, run.input_w if run.input_w is not None else run.drive)
    errors = rig_errors(rig, options.ambient_k)
    metrics: dict[MetricName, Metric] = {}
    if chosen is not None:
        rows = chosen.blocks
        means = state_means(run, rows)
        metrics = {
            M.INPUT_ROTOR_HELD: input_figure(M.INPUT_ROTOR_HELD, means, run, errors),
            M.SHAFT_POWER_ROTOR_HELD: figure(M.SHAFT_POWER_ROTOR_HELD, 0.0, ()),
            M.CURRENT_ROTOR_HELD: channel_figure(
                M.CURRENT_ROTOR_HELD, means.current, errors, Channel.CURRENT, "no current channel"
            ),
            M.VOLTAGE_ROTOR_HELD: voltage_figure(
                M.VOLTAGE_ROTOR_HELD, means, run, errors, "no voltage channel"
            ),
            M.POWER_FACTOR_ROTOR_HELD: factor_figure(M.POWER_FACTOR_ROTOR_HELD, means, run, errors),
            M.TORQUE_ROTOR_HELD: _torque(run, chosen, is_off, rig, errors),
        }
    return Reduction(
        kind=RunKind.LOCKED_ROTOR,
        method_version=METHOD_VERSIONS[RunKind.LOCKED_ROTOR],
        metrics=complete(RunKind.LOCKED_ROTOR, metrics, NOT_HELD),
        findings=recording_findings(run.ordered, recording, rig=rig, options=options),
        segments=steady_segments(run.blocks, found, by_row=by_row),
        lag=Lag(None, False, "nothing turns, so nothing lags"),
        trace=None if by_row else thin(run.ordered.time_s, dict(run.ordered.channels)),
        channels_used=run.channels_used,
    )


def _held(run: Electrical, plate: Plate) -> tuple[Bools, Bools]:
    """Blocks with the rotor still under current, and blocks with neither current nor speed."""
    speed = np.abs(run.blocks.speed)
    highest = max(plate.speed_rad_s or 0.0, float(speed.max(initial=0.0)))
    still = speed <= max(STILL_SHARE * highest, STILL_RAD_S)
    if run.drive is None:
        return np.zeros(speed.size, dtype=bool), still
    level = np.abs(np.where(np.isfinite(run.drive), run.drive, 0.0))
    largest = float(np.percentile(level[still], 98)) if still.any() else 0.0
    is_driven = (level > DRIVEN_SHARE * largest) & (largest > 0)
    return still & is_driven, still & (level <= 0.01 * largest)


def _stretches(run: Electrical, is_held: Bools, *, by_row: bool) -> list[Steady]:
    if by_row:
        rows = np.flatnonzero(is_held)
        return [Steady(rows, float(rows.size))] if rows.size else []
    blocks = run.blocks
    found = []
    for first, end in stretches(is_held):
        rows = np.arange(first, end)
        start = blocks.start_s[first] + (SETTLE_S if first > 0 else 0.0)
        stop = blocks.end_s[end - 1] - (blocks.block_s if end < blocks.size else 0.0)
        inside = rows[(blocks.start_s[rows] >= start) & (blocks.end_s[rows] <= stop)]
        if inside.size and float(blocks.end_s[inside[-1]] - blocks.start_s[inside[0]]) >= LEAST_S:
            found.append(
                Steady(inside, float(blocks.end_s[inside[-1]] - blocks.start_s[inside[0]]))
            )
    return found


def _torque(run: Electrical, chosen: Steady, is_off: Bools, rig: Rig, errors: RigErrors) -> Metric:
    """Torque at zero speed, less what the sensor shows with the current off."""
    name = M.TORQUE_ROTOR_HELD
    mean = mean_of(run.blocks.torque, run, chosen.blocks) if run.has_torque else None
    if mean is None:
        return Metric.missing(name, "neither torque, nor force on an arm of known length")
    zero = mean_of(run.blocks.torque, run, np.flatnonzero(is_off)) if is_off.any() else None
    value = mean.value - (zero.value if zero is not None else 0.0)
    parts: list[Part] = list(mean.parts)
    if zero is not None:
        u_zero = [by * c.standard_uncertainty for c, by in zero.parts]
        parts.append((Component("zero of the torque", float(np.hypot.reduce(u_zero))), 1.0))
    sign = 1.0 if value >= 0 else -1.0
    channel = run.signals.torque_channel
    arm = rig.effective_arm_m or 1.0
    if channel is Channel.FORCE:
        parts += reading_parts(errors, channel, value / arm, arm)
        parts += [(c, value) for c in (errors.arm, errors.arm_angle) if c is not None]
    else:
        parts += reading_parts(errors, channel, value)
    if errors.pivot is not None:
        parts.append((errors.pivot, 1.0))
    return figure(name, sign * value, parts)
