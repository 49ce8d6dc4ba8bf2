"""The channels a brake run needs, short gaps filled, plain faults of the speed signal removed."""

from dataclasses import dataclass, replace

import numpy as np

from server.errors import InvalidSignal
from server.model.bench import Plate, Rig
from server.model.words import Channel, Supply
from server.reduction.arrays import Bools, FloatArray, Floats
from server.reduction.waveform import alternates

SHORT_GAP_S = 0.3
GAP_IN_SPACINGS = 2.5  # a column written on every tenth row only is no gap
HOP_TOLERANCE = 0.06
HOPS_THAT_MATTER = 3
ELECTRICAL = (
    Channel.VOLTAGE,
    Channel.CURRENT,
    Channel.POWER,
    Channel.APPARENT_POWER,
    Channel.POWER_FACTOR,
)
HOP_SPEED = 0.1  # of the highest; a slow shaft gives one pulse a reading, or two
HOP_IN_STEPS = 1.5  # of the counted speed's usual step; less is counting


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
    n_speed_hops: int

    def with_torque(self, torque: FloatArray) -> "Signals":
        return replace(self, torque=torque)


def choose_signals(
    time_s: Floats,
    channels: dict[Channel, FloatArray],
    *,
    rig: Rig,
    plate: Plate,
    rows_are_points: bool = False,
) -> Signals:
    """Pick the channels of a brake run.

    Torque is the torque channel, else force on the arm times the arm (without an arm length
    `torque_factor` is NaN, and the caller gives reasons). A voltage or current that alternates is
    a waveform, never on a plate that says DC. Blanks are bridged by straight lines over at most
    0.3 s; rows that then still lack speed or torque are left out. Single speed readings of half
    or twice their neighbours (missed or doubled pulses) are replaced and counted, where the shaft
    turns at a tenth of its highest speed or faster, and faster than the counting steps tell apart.
    Neither is done where rows are points: each is a load by itself, and its neighbours say
    nothing of it.

    Raises
    ------
    InvalidSignal: no finite speed, neither torque nor force, or no two rows that have both.
    """
    speed = _finite(channels, Channel.SPEED)
    if speed is None:
        raise InvalidSignal("no speed channel with a finite value")
    torque, kind, factor = _finite(channels, Channel.TORQUE), Channel.TORQUE, 1.0
    if torque is None:
        torque, kind = _finite(channels, Channel.FORCE), Channel.FORCE
        factor = arm_m if (arm_m := rig.effective_arm_m) is not None else float("nan")
    if torque is None:
        raise InvalidSignal("neither a torque nor a force channel with a finite value")
    columns = [speed, torque, *(_finite(channels, name) for name in ELECTRICAL)]
    filled = [c if c is None or rows_are_points else _bridged(time_s, c) for c in columns]
    time_s, filled = _complete_rows(time_s, filled)
    speed, torque, voltage, current, power, apparent, power_factor = filled
    if speed is None or torque is None:
        raise InvalidSignal("no row has both speed and torque")
    speed, n_hops = (speed, 0) if rows_are_points else _without_hops(speed)
    may_alternate = plate.supply is not Supply.DC and not rows_are_points
    return Signals(
        time_s=time_s,
        speed=speed,
        torque=torque,
        torque_factor=factor,
        torque_channel=kind,
        voltage=voltage,
        current=current,
        power=power,
        apparent=apparent,
        power_factor=power_factor,
        is_voltage_waveform=may_alternate and voltage is not None and alternates(voltage),
        is_current_waveform=may_alternate and current is not None and alternates(current),
        interval_s=float(np.median(np.diff(time_s))),
        n_speed_hops=n_hops,
    )


def _finite(channels: dict[Channel, FloatArray], channel: Channel) -> FloatArray | None:
    values = channels.get(channel)
    if values is None or not np.isfinite(values).any():
        return None
    return values


def _bridged(time: Floats, values: FloatArray) -> FloatArray:
    """Short gaps filled by straight lines; longer ones stay blank."""
    finite = np.isfinite(values)
    if finite.all():
        return values
    at = np.flatnonzero(finite)
    known = time[at]
    result = np.interp(time, known, values[at]).astype(values.dtype)
    spacing = float(np.median(np.diff(known))) if known.size > 1 else 0.0
    longest = max(SHORT_GAP_S, GAP_IN_SPACINGS * spacing)
    after = np.clip(np.searchsorted(known, time), 0, known.size - 1)
    before = np.maximum(after - 1, 0)
    is_long = (known[after] - known[before] > longest) & ~finite
    is_outside = (time < known[0]) | (time > known[-1])
    result[is_long | is_outside] = np.nan
    return np.asarray(result)


def _complete_rows(
    time: Floats, columns: list[FloatArray | None]
) -> tuple[Floats, list[FloatArray | None]]:
    """Only rows that have both speed and torque (the first two columns)."""
    keep: Bools = np.ones(time.size, dtype=bool)
    for column in columns[:2]:
        if column is not None:
            keep &= np.isfinite(column)
    if keep.all():
        return time, columns
    if int(np.count_nonzero(keep)) < 2:
        raise InvalidSignal("fewer than two rows have both speed and torque")
    return time[keep], [None if c is None else c[keep] for c in columns]


def _without_hops(speed: FloatArray) -> tuple[FloatArray, int]:
    if speed.size < 5:
        return speed, 0
    before, here, after = speed[:-2], speed[1:-1], speed[2:]
    jump = np.abs(here - before) > 0.4 * np.abs(before)
    at = np.flatnonzero(jump)
    if at.size == 0:
        return speed, 0
    low, mid, high = before[at], here[at], after[at]
    middle = (low + high) / 2
    with np.errstate(divide="ignore", invalid="ignore"):
        agree = np.abs(high - low) <= HOP_TOLERANCE * np.abs(middle)
        ratio = np.abs(mid / middle)
    agree &= np.abs(middle) > HOP_SPEED * float(np.max(np.abs(speed)))
    hop = agree & (
        (np.abs(ratio - 0.5) <= HOP_TOLERANCE / 2) | (np.abs(ratio - 2) <= 2 * HOP_TOLERANCE)
    )
    if hop.any():
        moved = np.abs(np.diff(speed))
        step = float(np.percentile(moved[moved > 0], 25))
        hop &= np.abs(mid - middle) > HOP_IN_STEPS * step
    if not hop.any():
        return speed, 0
    mended = speed.copy()
    mended[at[hop] + 1] = middle[hop]
    return mended, int(np.count_nonzero(hop))
