"""Power that goes into what turns: from the speeds at both ends of many windows of a log."""

from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from server.reduction.arrays import Floats, Ints
from server.reduction.signals import Signals

LEAST_AVERAGE = 4  # samples on each side of a window's end, or as many as the window holds
WIDER = 4  # times, from one average to the next
BEND_NOISE_STEPS = 2.0
QUIET = 0.005  # of the highest brake power: noise of the inertia term that goes without care
NOISE_SAMPLES = 50_000  # the noise of the speed is read off that many


@dataclass(frozen=True, slots=True)
class TurningMasses:
    """What the power that goes into the turning masses is read from: running total (rad/s) and
    noise of the speed, its highest value, samples in a window at most, a window's usual length."""

    signals: Signals
    total: Floats
    noise: float
    highest_rad_s: float
    inertia_kg_m2: float
    n: int
    usual_s: float

    def widths(self, highest_w: float) -> list[int]:
        """Samples on each side of a window's end that its speed is averaged over.

        So few that a kink shows, so many that noise does not.
        """
        power_noise = self.inertia_kg_m2 * self.highest_rad_s * self.noise / self.usual_s
        fewest = (power_noise / max(QUIET * highest_w, 1e-12)) ** 2
        widths = [int(np.clip(np.ceil(fewest), 1, max(1, self.n // 2)))]
        while widths[-1] * WIDER <= max(self.n, LEAST_AVERAGE):
            widths.append(widths[-1] * WIDER)
        return widths

    def power(self, rows: tuple[Ints, Ints], widths: list[int]) -> tuple[Floats, Floats]:
        """Power (W) that goes into the turning masses in each window, and its uncertainty.

        Model:  J (w_end^2 - w_start^2) / (2 window), w by `_speed_at`
        """
        first, last = rows
        length = _length(self.signals, first, last)
        at_start, u_start = _speed_at(first, self.total, self.noise, widths)
        at_end, u_end = _speed_at(last, self.total, self.noise, widths)
        stored = self.inertia_kg_m2 * (at_end**2 - at_start**2) / 2 / length
        u = self.inertia_kg_m2 * np.hypot(at_end * u_end, at_start * u_start) / length
        return stored, u


def turning_masses(
    signals: Signals,
    total: Floats,
    rows: tuple[Ints, Ints],
    *,
    noise: float,
    highest_rad_s: float,
    inertia_kg_m2: float,
) -> TurningMasses:
    """What turns, over windows from first to end rows.

    `total` (n + 1,) runs over the speeds, whose `noise` is that of one sample of `middle_rows`.
    """
    first, last = rows
    return TurningMasses(
        signals=signals,
        total=total,
        noise=noise,
        highest_rad_s=highest_rad_s,
        inertia_kg_m2=inertia_kg_m2,
        n=int(np.max(last - first)),
        usual_s=float(np.median(_length(signals, first, last))),
    )


def middle_rows(signals: Signals) -> slice:
    """As many rows as the noise of the speed is read off."""
    start = max(0, signals.time_s.size // 2 - NOISE_SAMPLES // 2)
    return slice(start, start + NOISE_SAMPLES)


def _length(signals: Signals, first: Ints, last: Ints) -> Floats:
    """Seconds. A window ends halfway between its outer samples and their neighbours."""
    return np.asarray(signals.time_s[last - 1] - signals.time_s[first] + signals.interval_s)


def _speed_at(row: Ints, total: Floats, noise: float, widths: list[int]) -> tuple[Floats, Floats]:
    """Speed halfway between each row and the one before, and its uncertainty.

    Model:  mean of as many samples before as after; four times as many while that changes it by no
            more than two standard deviations, since a mean over a bend is off by the bend
    """
    n = total.size - 1
    low, high = np.maximum(row - widths[0], 0), np.minimum(row + widths[0], n)
    best = (total[high] - total[low]) / (high - low)
    u = noise / np.sqrt(high - low)
    if len(widths) == 1:
        return best, u
    bend = np.zeros(row.size)
    settled = np.zeros(row.size, dtype=bool)
    for before, width in pairwise(widths):
        # Cut at an end of the record, a mean lies to one side.
        settled |= (row < width) | (row + width > n)
        up, down = (total[np.clip(row + d, 0, n)] for d in (width, -width))
        mean = (up - down) / (2 * width)
        u_best, u_mean = (noise / np.sqrt(2 * w) for w in (before, width))
        change = np.abs(mean - best)
        differs = ~settled & (change > BEND_NOISE_STEPS * np.hypot(u_best, u_mean))
        np.copyto(bend, change, where=differs)
        settled |= differs
        np.copyto(best, mean, where=~settled)
        np.copyto(u, u_mean, where=~settled)
    return best, np.hypot(u, bend)
