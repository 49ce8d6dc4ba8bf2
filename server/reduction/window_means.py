"""Means of power over windows of a log: at the brake, in drag, and in what turns."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.model.bench import Rig
from server.model.results import Lag
from server.reduction.arrays import Floats, Ints
from server.reduction.blocks import Blocks
from server.reduction.signals import Signals
from server.reduction.stored_power import turning_masses
from server.reduction.torque import Shaft, drag_torque
from server.reduction.zero import Zero

WINDOW_SHIFTS = 8  # windows start this often per window length
SURELY = 2.0  # standard uncertainties of the inertia term and of the lag
FIRST_LOOKED_AT = 256  # windows
# Standard uncertainties that a power can move by when its speeds are averaged over more: at each
# end 2 sqrt(1 + 1/4) of them, half as much with each step, and both ends may add.
WIDENING_MOVES = 4 * 1.25**0.5 * 2**0.5 * 1.01
WINDOWS_AT_ONCE = 4096  # whose sums the processor keeps at hand
SAMPLES_AT_ONCE = 1 << 16
LAG_LEFT_S = 0.01  # what finding a lag leaves unsure
LAG_UNTOLD_S = 0.1  # where the run can't tell a lag


@dataclass(frozen=True, slots=True)
class Samples:
    """Speed (rad/s) and zeroed brake power (W) of single samples, worked out where asked for."""

    signals: Signals
    blocks: Blocks
    shaft: Shaft
    zero: Zero

    def at(self, rows: slice) -> tuple[Floats, Floats]:
        """Speed and power of the samples in these rows."""
        signals = self.signals
        speed = signals.speed[rows].astype(np.float64) * self.shaft.speed_sign
        power = signals.torque[rows].astype(np.float64)
        power *= signals.torque_factor
        power -= self._offset_nm(rows)
        power *= speed
        power *= self.shaft.torque_sign
        return speed, power

    def _offset_nm(self, rows: slice) -> Floats:
        """What each sample's torque is off by: as much as its block's."""
        start, stop, _ = rows.indices(self.signals.time_s.size)
        first_row, n_rows = self.blocks.first_row, self.blocks.n_rows
        first, last = np.searchsorted(first_row, [start, stop - 1], side="right") - 1
        held = slice(int(first), int(last) + 1)
        before = start - int(first_row[held.start])
        return np.repeat(self.zero.offset_nm[held], n_rows[held])[before : before + stop - start]

    def running_totals(self) -> tuple[Floats, Floats]:
        """(n + 1,) each, from 0, some samples at a time: they are never all held.

        As the two parts of complex numbers: each sum waits for the one before it, so that two side
        by side take no longer than one.
        """
        n = self.signals.time_s.size
        totals = np.zeros(n + 1, dtype=np.complex128)
        pairs = np.empty(SAMPLES_AT_ONCE, dtype=np.complex128)
        for start in range(0, n, SAMPLES_AT_ONCE):
            rows = slice(start, min(start + SAMPLES_AT_ONCE, n))
            some = pairs[: rows.stop - start]
            some.real, some.imag = self.at(rows)
            some[0] += totals[start]
            np.cumsum(some, out=totals[start + 1 : rows.stop + 1])
        return totals.real, totals.imag


@dataclass(frozen=True, slots=True)
class SpeedSeen:
    """Noise of one sample of the speed, and its highest (rad/s)."""

    noise: float
    highest_rad_s: float


@dataclass(frozen=True, slots=True)
class WindowMeans:
    """(n,) per window: mean power (W) at the brake, in drag and in stored energy; mean speed.

    `u_stored` is the noise of the stored part, `unsure` that and what a lag left over would do:
    infinite for a window that was not looked at closely, as it can't be the highest.
    """

    speed: Floats
    brake: Floats
    drag: Floats
    stored: Floats
    u_stored: Floats
    unsure: Floats

    @property
    def corrected(self) -> Floats:
        return self.brake + self.drag + self.stored

    @property
    def surely(self) -> Floats:
        """What each is at least, as far as its stored part and the lag go."""
        return self.corrected - SURELY * self.unsure


def rows_out_of_use(blocks: Blocks, usable: NDArray[np.bool_]) -> NDArray[np.int32]:
    """(n + 1,) how many rows before each lie in blocks that may not count."""
    out = np.zeros(int(blocks.n_rows.sum()) + 1, dtype=np.int32)
    np.cumsum(np.repeat(~usable, blocks.n_rows), out=out[1:])
    return out


def windows_within(
    signals: Signals, window_s: float, out_of_use: NDArray[np.int32]
) -> tuple[Ints, Ints]:
    """First and end rows of windows that lie wholly in usable blocks."""
    time, interval = signals.time_s, signals.interval_s
    n = max(1, round(window_s / interval))
    stride = max(1, n // WINDOW_SHIFTS)
    first = np.arange(0, max(time.size - n, 0) + 1, stride, dtype=np.int64)
    last = np.minimum(first + n, time.size)
    whole = out_of_use[last] == out_of_use[first]
    whole &= time[last - 1] - time[first] <= 1.5 * n * interval
    return first[whole], last[whole]


def window_means(
    samples: Samples,
    totals: tuple[Floats, Floats],
    rig: Rig,
    lag: Lag,
    rows: tuple[Ints, Ints],
    *,
    seen: SpeedSeen | None,
) -> WindowMeans:
    """Means over windows from first to end rows; `totals` are the samples' running totals.

    `seen`: None where no inertia is known, and nothing is stored.
    """
    first, last = rows
    signals = samples.signals
    count = (last - first).astype(np.float64)
    total_speed, total = totals
    brake = (total[last] - total[first]) / count
    speed = (total_speed[last] - total_speed[first]) / count
    drag = drag_torque(speed, rig) * speed
    nothing = np.zeros(first.size)
    if seen is None or not rig.inertia_kg_m2:
        return WindowMeans(speed, brake, drag, nothing, nothing, nothing)
    turning = turning_masses(
        signals,
        total_speed,
        rows,
        noise=seen.noise,
        highest_rad_s=seen.highest_rad_s,
        inertia_kg_m2=rig.inertia_kg_m2,
    )
    widths = turning.widths(float(np.max(brake)))
    stored, u_stored = turning.power(rows, widths[:1])
    means = WindowMeans(speed, brake, drag, stored, u_stored, np.full(first.size, np.inf))

    def look_closely(at: Ints) -> None:
        for start in range(0, at.size, WINDOWS_AT_ONCE):
            part = at[start : start + WINDOWS_AT_ONCE]
            some = first[part], last[part]
            stored[part], u_stored[part] = turning.power(some, widths)
            means.unsure[part] = np.hypot(u_stored[part], _of_lag(lag, signals, total, some))

    reach = means.corrected + WIDENING_MOVES * u_stored
    n_first = min(FIRST_LOOKED_AT, first.size)
    look_closely(np.argpartition(means.corrected, -n_first)[-n_first:])
    look_closely(np.flatnonzero((reach >= np.max(means.surely)) & np.isinf(means.unsure)))
    return means


def _of_lag(lag: Lag, signals: Signals, total: Floats, rows: tuple[Ints, Ints]) -> Floats:
    """What each window's mean brake power would change by if torque trailed a little more."""
    first, last = rows
    if lag.seconds is not None:
        left_s = LAG_LEFT_S if lag.applied else max(LAG_LEFT_S, abs(lag.seconds))
    else:
        left_s = LAG_UNTOLD_S
    n = np.minimum(max(1, round(left_s / signals.interval_s)), last - first)
    before, after = np.maximum(first - n, 0), np.minimum(last + n, total.size - 1)
    gained = (total[after] - total[last]) - (total[first + n] - total[first])
    lost = (total[last] - total[last - n]) - (total[first] - total[before])
    share = left_s / signals.interval_s / n
    return np.asarray(np.maximum(np.abs(gained), np.abs(lost)) / (last - first) * share)
