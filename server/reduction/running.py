"""What the bench shows while a test goes on: readings as they come, nothing corrected."""

from dataclasses import dataclass

import numpy as np

from server.errors import InvalidSignal
from server.model.bench import Plate, Rig
from server.model.recording import Recording
from server.model.words import Channel
from server.reduction.arrays import Floats
from server.reduction.electrical import read_electrical


@dataclass(frozen=True, slots=True)
class Running:
    """(m,) per block, SI, NaN where there is no reading; None where the channel is not there.

    `is_averaged`: blocks hold more than one reading.
    """

    time_s: Floats
    is_averaged: bool
    speed_rad_s: Floats | None
    torque_nm: Floats | None
    shaft_power_w: Floats | None
    voltage_v: Floats | None
    current_a: Floats | None
    input_power_w: Floats | None


def read_running(recording: Recording, *, plate: Plate, rig: Rig) -> Running | None:
    """Torque, speed and power as the sensors show them now.

    Model:  T = T_sensor or F arm,   P = mean(|T w|) over each block

    Parameters
    ----------
    recording : the newest readings, a second or some more of them; channels may be missing or
        blank.
    plate, rig : as for the whole run: arm, mains frequency, leads.

    Returns
    -------
    Running, by the blocks and units of the whole run's reduction. None where fewer than two rows
    or no reading is there.

    Notes
    -----
    Neither the sensor's zero nor its lag, drag or inertia is taken into account: they are known
    when the run is over. Signs are left out, for the same reason.
    """
    channels = {c: v for c, v in recording.channels.items() if np.isfinite(v).any()}
    recording = Recording(recording.time_s, channels)
    try:
        run = read_electrical(recording, plate=plate, rig=rig, with_torque=True)
    except InvalidSignal:
        return None
    blocks = run.blocks
    both = run.has_speed and run.has_torque
    return Running(
        time_s=blocks.time_s + float(np.min(recording.time_s)),
        is_averaged=bool((blocks.n_rows > 1).any()),
        speed_rad_s=np.abs(blocks.speed) if run.has_speed else None,
        torque_nm=np.abs(blocks.torque) if run.has_torque else None,
        shaft_power_w=np.abs(blocks.brake_power) if both else None,
        voltage_v=blocks.voltage,
        current_a=blocks.current,
        input_power_w=run.input_w,
    )


def lacks_arm(recording: Recording, *, rig: Rig) -> bool:
    """Whether there is force, but no arm to make torque of it."""
    has = recording.channels
    return Channel.FORCE in has and Channel.TORQUE not in has and rig.arm_m is None
