"""Short block averages: what every later step works on instead of single samples.

A block holds a whole number of mains half-cycles where the logger is fast enough, so that torque
pulsating at twice the mains frequency and alternating columns average out in it.
"""

from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import FloatArray, Floats, Ints
from server.reduction.signals import Signals

BLOCK_S = 0.05  # 5 half-cycles at 50 Hz, 6 at 60 Hz
SLOW_LOGGER_HZ = 60.0  # below: one sample per block
MAX_BLOCKS = 100_000


@dataclass(frozen=True, slots=True)
class Blocks:
    """(m,) arrays over blocks. Torque is not yet zeroed; `brake_power` is the mean of torque x
    speed. Electrical quantities are NaN where a block has none, the array None without channel."""

    first_row: Ints
    n_rows: Ints
    time_s: Floats
    start_s: Floats
    end_s: Floats
    block_s: float
    speed: Floats
    torque: Floats
    brake_power: Floats
    voltage: Floats | None
    current: Floats | None
    power: Floats | None
    apparent: Floats | None

    @property
    def spacing_s(self) -> float:
        """Usual time from one block to the next."""
        if self.time_s.size < 2:
            return self.block_s
        return max(float(np.median(np.diff(self.time_s))), 1e-9)

    @property
    def size(self) -> int:
        return int(self.time_s.size)


def make_blocks(signals: Signals, *, mains_hz: float | None = None) -> Blocks:
    """Average the channels over short blocks.

    Model:  mean for torque, speed, real power; sqrt(mean(x^2)) for voltage and current;
            mean(torque x speed) for brake power

    Parameters
    ----------
    signals : full-rate channels; blanks (NaN) are left out of their channel's averages.
    mains_hz : for the block length; 50 and 60 Hz share the default of 0.05 s.

    Returns
    -------
    Blocks. Real power comes from the power channel, else from v x i where both are waveforms,
    else from V x I x PF where a power factor column is there (rms values, per block).
    """
    first, block_s = _block_starts(signals, mains_hz)
    time = signals.time_s
    n = np.diff(np.append(first, time.size))
    mean = _Averager(first, n)
    speed = mean(signals.speed)
    torque = mean(signals.torque) * signals.torque_factor
    product = np.multiply(signals.torque, signals.speed)
    brake_power = mean(product) * signals.torque_factor
    voltage = None if signals.voltage is None else mean.rms(signals.voltage)
    current = None if signals.current is None else mean.rms(signals.current)
    last = first + n - 1
    return Blocks(
        first_row=first,
        n_rows=n,
        time_s=mean(time),
        start_s=time[first],
        end_s=time[last],
        block_s=block_s,
        speed=speed,
        torque=torque,
        brake_power=brake_power,
        voltage=voltage,
        current=current,
        power=_real_power(signals, mean, voltage, current),
        apparent=None if signals.apparent is None else mean(signals.apparent),
    )


def _real_power(
    signals: Signals, mean: "_Averager", voltage: Floats | None, current: Floats | None
) -> Floats | None:
    if signals.power is not None:
        return mean(signals.power)
    if signals.voltage is None or signals.current is None:
        return None
    if signals.is_voltage_waveform and signals.is_current_waveform:
        return mean(np.multiply(signals.voltage, signals.current))
    if signals.power_factor is not None and voltage is not None and current is not None:
        return voltage * current * np.abs(mean(signals.power_factor))
    return None


def _block_starts(signals: Signals, mains_hz: float | None) -> tuple[Ints, float]:
    time = signals.time_s
    length = float(time[-1] - time[0])
    if signals.interval_s > 1.0 / SLOW_LOGGER_HZ and time.size <= MAX_BLOCKS:
        return np.arange(time.size, dtype=np.int64), signals.interval_s
    half_cycle_s = 0.5 / mains_hz if mains_hz else BLOCK_S / 6
    block_s = max(1, round(BLOCK_S / half_cycle_s)) * half_cycle_s
    block_s *= max(1, int(np.ceil(length / block_s / MAX_BLOCKS)))
    edges = np.arange(0.0, length + block_s, block_s)
    # A hair early, so that a sample on an edge does not change sides with the clock's rounding.
    first = np.searchsorted(time, edges - 1e-6 * block_s, side="left")
    first = first[first < time.size]
    return first[np.diff(first, prepend=-1) > 0].astype(np.int64), block_s


class _Averager:
    """Averages over blocks of rows, blanks left out."""

    def __init__(self, first: Ints, n: Ints) -> None:
        self.first, self.n = first, n
        self.is_single = bool((n == 1).all())

    def __call__(self, values: FloatArray) -> Floats:
        if self.is_single:
            return np.asarray(values, dtype=np.float64)
        with np.errstate(invalid="ignore"):  # inf - inf
            total = np.add.reduceat(values, self.first, dtype=np.float64)
        if np.isfinite(total).all():  # a blank would have made its block's total one
            return np.asarray(total / self.n)
        finite = np.isfinite(values)
        total = np.add.reduceat(np.where(finite, values, 0), self.first, dtype=np.float64)
        count = np.add.reduceat(finite, self.first, dtype=np.int64)
        return np.where(count > 0, total / np.maximum(count, 1), np.nan)

    def rms(self, values: FloatArray) -> Floats:
        if self.is_single:
            return np.abs(np.asarray(values, dtype=np.float64))
        return np.asarray(np.sqrt(self(np.square(values))))
