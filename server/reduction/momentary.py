"""The highest momentary shaft power, and what the brake alone would show."""

from dataclasses import dataclass
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from server.model.bench import Rig
from server.model.results import Lag
from server.reduction.arrays import FloatArray, Floats, Ints
from server.reduction.blocks import Blocks
from server.reduction.scatter import mean_and_u, sample_noise
from server.reduction.signals import Signals
from server.reduction.stored_power import middle_rows
from server.reduction.torque import Shaft
from server.reduction.window_means import (
    Samples,
    SpeedSeen,
    WindowMeans,
    rows_out_of_use,
    window_means,
    windows_within,
)
from server.reduction.zero import Zero

NEAR_HIGHEST = 4.0  # standard uncertainties of one window's mean
STRETCHES = (1, 2, 4, 8, 16)  # averaging windows that the highest power may be read over
NO_MORE = 1.0  # standard deviations that a shorter stretch may stand higher by chance
ENOUGH_SAMPLES = 32  # of one stretch to tell its own noise
LEAST_SAMPLES = 4
AROUND = 12  # stretches of few samples that tell it together


@dataclass(frozen=True, slots=True)
class Momentary:
    """Highest window means (W). `n_in_window`: samples a window holds.

    `drag_part_w` and `inertia_part_w` are in `shaft_w`, which is corrected for what the highest of
    many noisy means stands too high by; `shaft_doubt_w` is how far off that may be. From
    `brake_w`, a reading, nothing is taken off; it may stand `brake_too_high_w` too high.
    """

    shaft_w: float | None
    u_shaft_w: float | None
    brake_w: float | None
    u_brake_w: float | None
    n_in_window: float
    drag_part_w: float = 0.0
    inertia_part_w: float = 0.0
    shaft_speed_rad_s: float = 0.0
    brake_speed_rad_s: float = 0.0
    shaft_doubt_w: float = 0.0
    brake_too_high_w: float = 0.0


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
    power less twice that is highest is taken. The power is read over the longest stretch of up to
    16 windows that no shorter one stands above by more than chance, and set halfway between what
    is left of the bias of a highest value and what a shorter stretch showed.

    Sources
    -------
    Widening an average for as long as shorter ones agree within their noise: Lepskii, Theory
    Probab. Appl. 35 (1991) 454 (cited from memory).
    """
    n_in_window = rig.averaging_s / signals.interval_s
    samples = Samples(signals, blocks, shaft, zero)
    stretches, brake = _highest_of_each_length(samples, rig, usable, lag)
    if brake is None:
        return Momentary(None, None, None, None, n_in_window)
    best, above = _longest_as_high(stretches)
    return Momentary(
        shaft_w=best.power_w + (above - best.too_high_w) / 2,
        u_shaft_w=best.u_w,
        brake_w=brake.power_w,
        u_brake_w=brake.scatter_w,
        n_in_window=n_in_window,
        drag_part_w=best.drag_w,
        inertia_part_w=best.stored_w,
        shaft_speed_rad_s=best.speed_rad_s,
        brake_speed_rad_s=brake.speed_rad_s,
        shaft_doubt_w=(above + best.too_high_w) / 2,
        brake_too_high_w=brake.too_high_w,
    )


@dataclass(frozen=True, slots=True)
class _Stretch:
    """The highest mean over stretches of one length, with its parts (W). `noise_w` is the scatter
    and that of the stored part, `u_w` the scatter and all that is unsure."""

    power_w: float
    scatter_w: float
    noise_w: float
    u_w: float
    too_high_w: float
    drag_w: float
    stored_w: float
    speed_rad_s: float

    @property
    def least_w(self) -> float:
        """What it would be, were all that stands near the highest as high in truth."""
        return self.power_w - self.too_high_w


def _highest_of_each_length(
    samples: Samples, rig: Rig, usable: NDArray[np.bool_], lag: Lag
) -> tuple[list[_Stretch], _Stretch | None]:
    """The shaft's highest over stretches of each length, and the brake's highest window."""
    signals = samples.signals
    totals = samples.running_totals()
    out_of_use = rows_out_of_use(samples.blocks, usable)
    speed: SpeedSeen | None = None
    if rig.inertia_kg_m2:
        speed = SpeedSeen(
            noise=sample_noise(samples.at(middle_rows(signals))[0]),
            highest_rad_s=_highest(signals.speed, samples.shaft.speed_sign),
        )
    stretches: list[_Stretch] = []
    brake: _Stretch | None = None
    for n_windows in STRETCHES:
        rows = windows_within(signals, rig.averaging_s * n_windows, out_of_use)
        if rows[0].size == 0:
            break
        means = window_means(samples, totals, rig, lag, rows, seen=speed)
        # How much of the torque was inertia can't be told everywhere alike.
        stands = int(np.argmax(means.surely))
        stretches.append(_stretch(samples, means, means.corrected, rows, stands))
        if brake is None:
            brake = _stretch(samples, means, means.brake, rows, int(np.argmax(means.brake)))
    return stretches, brake


def _highest(speed: FloatArray, sign: int) -> float:
    return float(np.max(speed)) if sign > 0 else -float(np.min(speed))


def _stretch(
    samples: Samples, means: WindowMeans, power: Floats, rows: tuple[Ints, Ints], at: int
) -> _Stretch:
    """The highest of `power`, which stands at `at`; the brake's own has no stored part to doubt."""
    first, last = rows
    scatter = _scatter(samples, int(first[at]), int(last[at]))
    is_shaft = power is not means.brake
    noise = float(np.hypot(scatter, means.u_stored[at])) if is_shaft else scatter
    apart = int(first[1] - first[0]) if first.size > 1 else 0
    overlap = max(1, int(last[0] - first[0]) // max(1, apart)) if apart else 1
    return _Stretch(
        power_w=float(power[at]),
        scatter_w=scatter,
        noise_w=noise,
        u_w=float(np.hypot(scatter, means.unsure[at])) if is_shaft else scatter,
        too_high_w=noise * _expected_excess(power, at, noise, overlap),
        drag_w=float(means.drag[at]),
        stored_w=float(means.stored[at]),
        speed_rad_s=float(means.speed[at]),
    )


def _longest_as_high(stretches: list[_Stretch]) -> tuple[_Stretch, float]:
    """The longest that no shorter one surely stands above, and by how much one may (W)."""
    best, above = stretches[0], 0.0
    for k, longer in enumerate(stretches[1:], start=1):
        gaps = [one.least_w - longer.least_w for one in stretches[:k]]
        noises = [one.noise_w for one in stretches[:k]]
        if any(gap > NO_MORE * noise for gap, noise in zip(gaps, noises, strict=True)):
            break
        best, above = longer, max(0.0, *gaps)
    return best, above


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


def _scatter(samples: Samples, first: int, last: int) -> float:
    """Standard uncertainty of the mean over these rows.

    Few rows hardly tell their own noise: then it is the usual one of several stretches as long
    around them, which a burst or a step among them does not raise.
    """
    n = last - first
    if n >= ENOUGH_SAMPLES:
        power = samples.at(slice(first, last))[1]
        return mean_and_u(power, np.ones(n))[1]
    size = max(n, LEAST_SAMPLES)
    more = size * (AROUND // 2)
    around = samples.at(slice(max(first - more, 0), last + more))[1]
    size = min(size, around.size)
    if size < 2:
        return 0.0
    variances = around[: around.size // size * size].reshape(-1, size).var(axis=1, ddof=1)
    # The median of a variance of few degrees of freedom lies below it (Wilson and Hilferty).
    usual = float(np.median(variances)) / (1 - 2 / (9 * (size - 1))) ** 3
    return float(np.sqrt(usual / max(n, 1)))
