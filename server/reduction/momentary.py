"""The highest momentary shaft power, and what the brake alone would show."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from server.model.bench import Rig
from server.model.results import Lag
from server.reduction.arrays import Floats, Ints
from server.reduction.blocks import Blocks
from server.reduction.signals import Signals
from server.reduction.stored_power import middle_rows, turning_masses
from server.reduction.torque import Shaft, drag_torque
from server.reduction.zero import Zero

WINDOW_SHIFTS = 8  # windows start this often per window length
SURELY = 2.0  # standard uncertainties of the inertia term and of the lag
NEAR_HIGHEST = 4.0  # standard uncertainties of one window's mean
WINDOWS_AT_ONCE = 4096  # whose sums the processor keeps at hand
SAMPLES_AT_ONCE = 1 << 16
LAG_LEFT_S = 0.01  # what finding a lag leaves unsure
LAG_UNTOLD_S = 0.1  # where the run can't tell a lag


@dataclass(frozen=True, slots=True)
class Momentary:
    """Highest window means (W). `n_in_window`: samples a window holds; `at_s` where it starts.

    `drag_part_w` and `inertia_part_w` are in `shaft_w`. `*_bias_w`: by how much the highest of
    that many noisy windows stands too high on average; it is not taken off.
    """

    shaft_w: float | None
    u_shaft_w: float | None
    brake_w: float | None
    u_brake_w: float | None
    n_in_window: float
    at_s: float | None
    drag_part_w: float = 0.0
    inertia_part_w: float = 0.0
    shaft_speed_rad_s: float = 0.0
    brake_speed_rad_s: float = 0.0
    shaft_bias_w: float = 0.0
    brake_bias_w: float = 0.0


def highest_momentary(
    signals: Signals,
    blocks: Blocks,
    shaft: Shaft,
    zero: Zero,
    rig: Rig,
    *,
    usable: NDArray[np.bool_],
    lag: Lag,
) -> Momentary:
    """Find the highest mean of torque x speed over a window, run-up excluded.

    Model:  P = mean over window of (T_sensor - zero + drag(w)) w
                + J (w_end^2 - w_start^2) / (2 window);
            the brake's reading is the same without drag and inertia

    Parameters
    ----------
    usable : (m,) True for blocks whose samples may count (running, no run-up; with no inertia
        known, steady dwells only).
    lag : of torque behind speed, as it was found and applied.

    Returns
    -------
    Momentary. `shaft_w` None where no window lies wholly in usable blocks.

    Notes
    -----
    The stored energy at both ends is exact for any acceleration between them; only the speeds at
    the ends are estimated (see stored_power.py). What is left unsure of them, and what torque would
    be off if it trailed by the lag that may be left, is judged for each window: the one whose
    power less twice that is highest is taken. The highest of many noisy means is biased upwards;
    `shaft_bias_w` says by how much.
    """
    first, last = _windows(signals, rig.averaging_s, blocks, usable)
    n_in_window = rig.averaging_s / signals.interval_s
    if first.size == 0:
        return Momentary(None, None, None, None, n_in_window, None)
    samples = _Samples(signals, blocks, shaft, zero)
    m = _means(samples, rig, lag, (first, last))
    # How much of the torque was inertia can't be told everywhere alike.
    i, k = int(np.argmax(m.corrected - SURELY * m.unsure)), int(np.argmax(m.brake))
    scatter, u_brake = (_scatter(samples, int(first[w]), int(last[w])) for w in (i, k))
    noise = float(np.hypot(scatter, m.u_stored[i]))
    apart = int(first[1] - first[0]) if first.size > 1 else 0
    overlap = max(1, int(last[0] - first[0]) // max(1, apart)) if apart else 1
    return Momentary(
        shaft_w=float(m.corrected[i]),
        u_shaft_w=float(np.hypot(scatter, m.unsure[i])),
        brake_w=float(m.brake[k]),
        u_brake_w=u_brake,
        n_in_window=n_in_window,
        at_s=float(signals.time_s[first[i]]),
        drag_part_w=float(m.drag[i]),
        inertia_part_w=float(m.stored[i]),
        shaft_speed_rad_s=float(m.speed[i]),
        brake_speed_rad_s=float(m.speed[k]),
        shaft_bias_w=noise * _expected_excess(m.corrected, i, noise, overlap),
        brake_bias_w=u_brake * _expected_excess(m.brake, k, u_brake, overlap),
    )


@dataclass(frozen=True, slots=True)
class _Means:
    """(n,) per window: mean power (W) at the brake, in drag and in stored energy; mean speed.

    `u_stored` is the noise of the stored part, `unsure` that and what a lag left over would do.
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


def _means(samples: "_Samples", rig: Rig, lag: Lag, rows: tuple[Ints, Ints]) -> _Means:
    first, last = rows
    signals = samples.signals
    count = (last - first).astype(np.float64)
    total_speed, total = samples.running_totals()
    brake = (total[last] - total[first]) / count
    speed = (total_speed[last] - total_speed[first]) / count
    drag = drag_torque(speed, rig) * speed
    nothing = np.zeros(first.size)
    if not rig.inertia_kg_m2:
        return _Means(speed, brake, drag, nothing, nothing, nothing)
    turning = turning_masses(
        signals,
        total_speed,
        rows,
        speed=samples.at(middle_rows(signals))[0],
        highest_rad_s=float(np.max(signals.speed * samples.shaft.speed_sign)),
        inertia_kg_m2=rig.inertia_kg_m2,
    )
    widths = turning.widths(float(np.max(brake)))
    stored, u_stored, unsure = (np.empty(first.size) for _ in range(3))
    for start in range(0, first.size, WINDOWS_AT_ONCE):
        part = slice(start, start + WINDOWS_AT_ONCE)
        some = first[part], last[part]
        stored[part], u_stored[part] = turning.power(some, widths)
        unsure[part] = np.hypot(u_stored[part], _of_lag(lag, signals, total, some))
    return _Means(speed, brake, drag, stored, u_stored, unsure)


def _expected_excess(means: Floats, highest: int, u: float, overlap: int) -> float:
    """Standard deviations by which the highest of N equal, noisy means exceeds them on average.

    Model:  z((N - 0.375) / (N + 0.25)), N the independent ones within 4 u of the highest

    Sources
    -------
    Blom's plotting position for normal order statistics (1958; cited from memory).
    """
    near = int(np.count_nonzero(means >= means[highest] - NEAR_HIGHEST * u))
    n = max(1.0, near / overlap)
    return max(0.0, NormalDist().inv_cdf((n - 0.375) / (n + 0.25)))


@dataclass(frozen=True, slots=True)
class _Samples:
    """Speed (rad/s) and zeroed brake power (W) of single samples, worked out where asked for."""

    signals: Signals
    blocks: Blocks
    shaft: Shaft
    zero: Zero

    def at(self, rows: slice) -> tuple[Floats, Floats]:
        signals, offset_nm = self.signals, self.zero.offset_nm
        speed = signals.speed[rows].astype(np.float64) * self.shaft.speed_sign
        power = signals.torque[rows].astype(np.float64)
        power *= signals.torque_factor
        if np.ptp(offset_nm) > 0:
            power -= np.interp(signals.time_s[rows], self.blocks.time_s, offset_nm)
        else:
            power -= float(offset_nm[0])
        power *= speed
        power *= self.shaft.torque_sign
        return speed, power

    def running_totals(self) -> tuple[Floats, Floats]:
        """(n + 1,) each, from 0, some samples at a time: they are never all held."""
        n = self.signals.time_s.size
        totals = np.zeros((2, n + 1))
        for start in range(0, n, SAMPLES_AT_ONCE):
            rows = slice(start, min(start + SAMPLES_AT_ONCE, n))
            for total, values in zip(totals, self.at(rows), strict=True):
                values[0] += total[start]
                np.cumsum(values, out=total[start + 1 : rows.stop + 1])
        return totals[0], totals[1]


def _windows(
    signals: Signals, window_s: float, blocks: Blocks, usable: NDArray[np.bool_]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and end rows of windows that lie wholly in usable blocks."""
    time, interval = signals.time_s, signals.interval_s
    n = max(1, round(window_s / interval))
    stride = max(1, n // WINDOW_SHIFTS)
    first = np.arange(0, max(time.size - n, 0) + 1, stride, dtype=np.int64)
    last = np.minimum(first + n, time.size)
    bad_before = np.concatenate(([0], np.cumsum(~usable)))
    # Blocks that a window touches: up to the one of its first row, and to that of its last.
    before = np.searchsorted(blocks.first_row, first, side="right") - 1
    upto = np.searchsorted(blocks.first_row, last - 1, side="right")
    whole = (bad_before[upto] - bad_before[before]) == 0
    length = time[last - 1] - time[first]
    whole &= length <= 1.5 * n * interval
    return first[whole], last[whole]


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


def _scatter(samples: _Samples, first: int, last: int) -> float:
    rows = slice(first, last) if last - first > 1 else slice(max(first - 2, 0), last + 2)
    return float(np.std(samples.at(rows)[1]) / np.sqrt(max(last - first, 1)))
