"""The channels a brake run needs, as they stand in the recording, with signs made plain."""

from dataclasses import dataclass, replace

import numpy as np

from server.errors import InvalidSignal
from server.model.bench import Plate, Rig
from server.model.words import Channel, Supply
from server.reduction.arrays import FloatArray, Floats
from server.reduction.waveform import alternates


@dataclass(frozen=True, slots=True)
class Signals:
    """Full-rate channels. `torque` times `torque_factor` is torque in N m before zeroing."""

    time_s: Floats
    speed: FloatArray
    torque: FloatArray
    torque_factor: float
    torque_channel: Channel
    voltage: FloatArray | None
    current: FloatArray | None
    power: FloatArray | None
    apparent: FloatArray | None
    power_factor: FloatArray | None
    is_voltage_waveform: bool
    is_current_waveform: bool
    interval_s: float

    def with_torque(self, torque: FloatArray) -> "Signals":
        return replace(self, torque=torque)


def choose_signals(
    time_s: Floats, channels: dict[Channel, FloatArray], *, rig: Rig, plate: Plate
) -> Signals:
    """Pick the channels of a brake run.

    Torque is the torque channel, else force on the arm times the arm. A voltage or current that
    alternates is a waveform (never on a plate that says DC).

    Raises
    ------
    InvalidSignal: no finite speed; neither torque nor force with a finite value; force without
    an arm length is not an error here (`torque_factor` is NaN then and the door gives reasons).
    """
    speed = _finite(channels, Channel.SPEED)
    if speed is None:
        raise InvalidSignal("no speed channel with a finite value")
    torque, kind, factor = _finite(channels, Channel.TORQUE), Channel.TORQUE, 1.0
    if torque is None:
        torque, kind = _finite(channels, Channel.FORCE), Channel.FORCE
        factor = rig.arm_m if rig.arm_m is not None else float("nan")
    if torque is None:
        raise InvalidSignal("neither a torque nor a force channel with a finite value")
    voltage, current = _finite(channels, Channel.VOLTAGE), _finite(channels, Channel.CURRENT)
    may_alternate = plate.supply is not Supply.DC
    return Signals(
        time_s=time_s,
        speed=speed,
        torque=torque,
        torque_factor=factor,
        torque_channel=kind,
        voltage=voltage,
        current=current,
        power=_finite(channels, Channel.POWER),
        apparent=_finite(channels, Channel.APPARENT_POWER),
        power_factor=_finite(channels, Channel.POWER_FACTOR),
        is_voltage_waveform=may_alternate and voltage is not None and alternates(voltage),
        is_current_waveform=may_alternate and current is not None and alternates(current),
        interval_s=float(np.median(np.diff(time_s))),
    )


def _finite(channels: dict[Channel, FloatArray], channel: Channel) -> FloatArray | None:
    values = channels.get(channel)
    if values is None or not np.isfinite(values).any():
        return None
    return values
