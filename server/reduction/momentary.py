"""The highest momentary shaft power, and what the brake alone would show."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.model.bench import Rig
from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks
from server.reduction.scatter import sample_noise
from server.reduction.signals import Signals
from server.reduction.torque import Shaft, drag_torque
from server.reduction.zero import Zero

WINDOW_SHIFTS = 8  # windows start this often per window length
DERIVATIVE_DOUBLINGS = 3
DOUBLING_NOISE_STEPS = 3.0
UNSURE = 0.05  # of the highest brake power
NOISE_SAMPLES = 50_000  # the noise of the speed is read off that many


@dataclass(frozen=True, slots=True)
class Momentary:
    """Highest window means (W). `n_in_window`: samples a window holds; `at_s` where it starts."""

    shaft_w: float | None
    u_shaft_w: float | None
    brake_w: float | None
    u_brake_w: float | None
    n_in_window: float
    at_s: float | None


def highest_momentary(
    signals: Signals,
    blocks: Blocks,
    shaft: Shaft,
    zero: Zero,
    rig: Rig,
    *,
    usable: NDArray[np.bool_],
) -> Momentary:
    """Find the highest mean of torque x speed over a window, run-up excluded.

    Model:  P = mean over window of (T_sensor - zero + drag(w)) w, plus J w dw/dt;
            the brake's reading is the same without drag and inertia

    Parameters
    ----------
    usable : (m,) True for blocks whose samples may count (running, no run-up; with no inertia
        known, steady dwells only).

    Returns
    -------
    Momentary. `shaft_w` None where no window lies wholly in usable blocks.

    Notes
    -----
    dw/dt is a straight line's slope over the window; where the slope over twice (four, eight
    times) the window agrees with it within three standard deviations, the longer one is used, so
    that noise of the speed signal is not taken for power; where it disagrees by so much that the
    inertia term is unsure by over 5 % of the highest brake power, the window does not count. The
    highest of many noisy means is biased upwards by that noise; its standard uncertainty says how
    much noise there is.
    """
    first, last = _windows(signals.time_s, rig.averaging_s, blocks, usable)
    n_in_window = rig.averaging_s / signals.interval_s
    if first.size == 0:
        return Momentary(None, None, None, None, n_in_window, None)
    speed, power = _brake_power(signals, blocks, shaft, zero)
    count = (last - first).astype(np.float64)
    total = _running_total(power)
    brake = (total[last] - total[first]) / count
    total_speed = _running_total(speed)
    mean_speed = (total_speed[last] - total_speed[first]) / count
    corrected = brake + drag_torque(mean_speed, rig) * mean_speed
    if rig.inertia_kg_m2:
        rate, u_rate = _window_slopes(signals, speed, first, last)
        corrected = corrected + rig.inertia_kg_m2 * mean_speed * rate
        # A kink shorter than the window: how much of the torque was inertia can't be told.
        unsure = rig.inertia_kg_m2 * np.abs(mean_speed) * u_rate
        is_told = unsure <= UNSURE * float(np.max(brake))
        if is_told.any():
            corrected = np.where(is_told, corrected, -np.inf)
    i, k = int(np.argmax(corrected)), int(np.argmax(brake))
    return Momentary(
        shaft_w=float(corrected[i]),
        u_shaft_w=_scatter(power, int(first[i]), int(last[i])),
        brake_w=float(brake[k]),
        u_brake_w=_scatter(power, int(first[k]), int(last[k])),
        n_in_window=n_in_window,
        at_s=float(signals.time_s[first[i]]),
    )


def _brake_power(
    signals: Signals, blocks: Blocks, shaft: Shaft, zero: Zero
) -> tuple[Floats, Floats]:
    """Speed and zeroed brake power of every sample."""
    speed = np.nan_to_num(np.asarray(signals.speed, dtype=np.float64)) * shaft.speed_sign
    offset = (
        np.interp(signals.time_s, blocks.time_s, zero.offset_nm)
        if np.ptp(zero.offset_nm) > 0
        else float(zero.offset_nm[0])
    )
    torque = np.nan_to_num(np.asarray(signals.torque, dtype=np.float64)) * signals.torque_factor
    power = (torque - offset) * speed
    power *= shaft.torque_sign
    return speed, power


def _windows(
    time: Floats, window_s: float, blocks: Blocks, usable: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and end rows of windows that lie wholly in usable blocks."""
    interval = float(np.median(np.diff(time)))
    n = max(1, round(window_s / interval))
    stride = max(1, n // WINDOW_SHIFTS)
    good = np.repeat(usable, blocks.n_rows)
    bad_before = np.concatenate(([0], np.cumsum(~good)))
    first = np.arange(0, max(time.size - n, 0) + 1, stride, dtype=np.int64)
    last = np.minimum(first + n, time.size)
    whole = (bad_before[last] - bad_before[first]) == 0
    length = time[last - 1] - time[first]
    whole &= length <= 1.5 * n * interval
    return first[whole], last[whole]


def _window_slopes(
    signals: Signals, speed: Floats, first: NDArray[np.int64], last: NDArray[np.int64]
) -> tuple[Floats, Floats]:
    """Slope of the speed in each window, over a longer one where that agrees, and its u."""
    line = _RunningLine(signals.time_s, speed)
    best, u = line.slopes(first, last)
    settled = np.zeros(first.size, dtype=bool)
    bend = np.zeros(first.size)
    width = last - first
    for doubling in range(1, DERIVATIVE_DOUBLINGS + 1):
        extra = ((2**doubling - 1) * width + 1) // 2
        low = np.maximum(first - extra, 0)
        high = np.minimum(last + extra, speed.size)
        wider, u_wider = line.slopes(low, high)
        differs = ~settled & (np.abs(wider - best) > DOUBLING_NOISE_STEPS * np.hypot(u, u_wider))
        bend = np.where(differs, np.abs(wider - best) / 2, bend)
        settled |= differs
        best = np.where(settled, best, wider)
        u = np.where(settled, u, u_wider)
    return np.asarray(best), np.hypot(u, bend)


class _RunningLine:
    """Straight lines through any rows of a signal, from running sums made once."""

    def __init__(self, time: Floats, values: Floats) -> None:
        self.time = time
        self.middle = values.size / 2
        centred = values - values.mean()
        self.total = _running_total(centred)
        centred *= np.arange(values.size) - self.middle
        self.weighted = _running_total(centred)
        start = max(0, values.size // 2 - NOISE_SAMPLES // 2)
        self.noise = sample_noise(values[start : start + NOISE_SAMPLES])

    def slopes(self, first: NDArray[np.int64], last: NDArray[np.int64]) -> tuple[Floats, Floats]:
        """Least-squares slopes over rows first to last (exclusive), and their uncertainty."""
        count = (last - first).astype(np.float64)
        centre = first - self.middle + (count - 1) / 2
        lean = (self.weighted[last] - self.weighted[first]) - centre * (
            self.total[last] - self.total[first]
        )
        few = count < 2
        spread = np.where(few, 1.0, count * (count**2 - 1) / 12)
        interval = (self.time[last - 1] - self.time[first]) / np.maximum(count - 1, 1)
        interval = np.where(few, 1.0, interval)
        slope = np.where(few, 0.0, lean / spread / interval)
        u = np.where(few, np.inf, self.noise / np.sqrt(spread) / interval)
        return slope, u


def _running_total(values: Floats) -> Floats:
    total = np.empty(values.size + 1)
    total[0] = 0.0
    np.cumsum(values, out=total[1:])
    return total


def _scatter(power: Floats, first: int, last: int) -> float:
    part = power[first:last]
    if part.size < 2:
        part = power[max(first - 2, 0) : last + 2]
    return float(np.std(part) / np.sqrt(max(last - first, 1)))
