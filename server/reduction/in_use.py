"""A motor in its assembled appliance: speed, volts, amperes and watts where it is used."""

import numpy as np

from server.model.bench import Plate, Rig
from server.model.recording import Recording
from server.model.results import Lag, Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind
from server.reduction.by_row import rows_are_points
from server.reduction.electrical import read_electrical
from server.reduction.findings.records import recording_findings
from server.reduction.first_order import complete
from server.reduction.mean_figures import (
    channel_figure,
    factor_figure,
    input_figure,
    mean_of,
    state_means,
    voltage_figure,
)
from server.reduction.placing import NO_CURVE
from server.reduction.steady_rows import longest, states_of_rows, steady_segments, steady_stretches
from server.reduction.trace import thin
from server.reduction.uncertainty.components import rig_errors
from server.reduction.versions import METHOD_VERSIONS

M = MetricName
TURNING_SHARE = 0.05  # of the highest speed
DRIVEN_SHARE = 0.01  # of the largest current
NOT_STEADY = "speed and current never stood still together for a second"


def reduce_in_use(
    recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce a run in the assembled appliance; see `reduce_run` for what it promises.

    Model:  means over the longest steady stretch: speed, real power; V and I as sqrt(mean(x^2))

    Returns
    -------
    Reduction with `operating_speed` and what is drawn there; each steady stretch is a segment
    (nozzle open, in work, blocked). Rows without time are grouped by speed, the largest group
    counts. `shaft_power_in_use`, `input_power_by_curve` and `agreement_z` carry the reason that
    no curve is at hand: `place_in_use` gives them once there is one.

    Notes
    -----
    docs/methods/in-use.md.
    """
    by_row = rows_are_points(recording, options)
    run = read_electrical(recording, plate=plate, rig=rig, with_torque=False, by_row=by_row)
    blocks = run.blocks
    speed = np.abs(blocks.speed)
    on = speed > TURNING_SHARE * float(np.max(speed, initial=0.0))
    if run.drive is not None:
        level = np.abs(np.where(np.isfinite(run.drive), run.drive, 0.0))
        on &= level > DRIVEN_SHARE * float(level.max(initial=0.0))
    drive = run.input_w if run.input_w is not None else run.drive
    found = states_of_rows(speed, on) if by_row else steady_stretches(blocks, speed, run.drive, on)
    chosen = longest(found, drive)
    errors = rig_errors(rig, options.ambient_k)
    metrics = {}
    if chosen is not None:
        rows = chosen.blocks
        means = state_means(run, rows)
        turning = mean_of(speed, run, rows) if run.has_speed else None
        metrics = {
            M.OPERATING_SPEED: channel_figure(
                M.OPERATING_SPEED, turning, errors, Channel.SPEED, "speed was not measured"
            ),
            M.INPUT_POWER_IN_USE: input_figure(M.INPUT_POWER_IN_USE, means, run, errors),
            M.VOLTAGE_IN_USE: voltage_figure(
                M.VOLTAGE_IN_USE, means, run, errors, "no voltage was measured"
            ),
            M.CURRENT_IN_USE: channel_figure(
                M.CURRENT_IN_USE, means.current, errors, Channel.CURRENT, "no current was measured"
            ),
            M.POWER_FACTOR_IN_USE: factor_figure(M.POWER_FACTOR_IN_USE, means, run, errors),
        }
    return Reduction(
        kind=RunKind.IN_USE,
        method_version=METHOD_VERSIONS[RunKind.IN_USE],
        metrics=complete(RunKind.IN_USE, metrics, NO_CURVE if chosen is not None else NOT_STEADY),
        findings=recording_findings(run.ordered, recording, rig=rig, options=options),
        segments=steady_segments(blocks, found, by_row=by_row),
        lag=Lag(None, False, "no torque channel is used"),
        trace=None if by_row else thin(run.ordered.time_s, dict(run.ordered.channels)),
        channels_used=run.channels_used,
    )
