"""Speed over time where nothing brakes: its rises and falls from end to end."""

from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import Bools, Floats, Ints
from server.reduction.electrical import Electrical
from server.reduction.scatter import sample_noise

MOST_SAMPLES = 4000
LEG_SHARE = 0.3  # of the highest speed: a smaller rise or fall is no run-up or run-down
TOP_SHARE = 0.98  # of a leg's top: nearer to it the motor may still be driven, or nearly settled
REST_SHARE = 0.03  # of a leg's top: slower than that, standing friction rules
DRIVEN_SHARE = 0.005  # of the run's largest current, above what the meter shows at rest
MOST_AT_REST = 0.05
LEAST_SAMPLES = 8


@dataclass(frozen=True, slots=True)
class Turning:
    """(n,) arrays; speed in rad/s, never negative. `row` is the first row behind each sample;
    `is_driven` None where neither current nor power is logged."""

    time_s: Floats
    speed: Floats
    row: Floats
    is_driven: Bools | None
    noise_rad_s: float


@dataclass(frozen=True, slots=True)
class Leg:
    """One rise or fall: samples first to end (exclusive)."""

    first: int
    end: int

    @property
    def rows(self) -> slice:
        return slice(self.first, self.end)


def read_turning(run: Electrical) -> Turning:
    """Thin the speed to at most `MOST_SAMPLES` means of equally many rows."""
    time, speed = run.signals.time_s, np.abs(np.asarray(run.signals.speed, dtype=np.float64))
    step = max(1, -(-time.size // MOST_SAMPLES))
    starts = np.arange(0, time.size, step)
    n = np.diff(np.append(starts, time.size))
    mean_time = np.add.reduceat(time, starts) / n
    mean_speed = np.add.reduceat(speed, starts) / n
    return Turning(
        time_s=mean_time,
        speed=mean_speed,
        row=starts.astype(np.float64),
        is_driven=_driven(run, mean_time),
        noise_rad_s=sample_noise(mean_speed),
    )


def falls(turning: Turning) -> list[Leg]:
    """Every fall with no drive, from just under its top to near rest or its end."""
    return [
        leg
        for first, end in _legs(turning.speed, falling=True)
        if (leg := _trimmed_fall(turning, first, end)) is not None
    ]


def rises(turning: Turning) -> list[Leg]:
    """Every rise under drive, from near rest or its start to just under its top."""
    found = []
    for first, end in _legs(turning.speed, falling=False):
        speed = turning.speed[first : end + 1]
        top = float(speed[-1])
        slow = np.flatnonzero(speed <= REST_SHARE * top)
        start = first + (int(slow[-1]) + 1 if slow.size else 0)
        settled = np.flatnonzero(speed >= TOP_SHARE * top)
        stop = first + int(settled[0])
        if turning.is_driven is not None and stop > start:
            driven = turning.is_driven[start:stop]
            start = start + int(np.argmax(driven)) if driven.any() else stop
        if stop - start >= LEAST_SAMPLES:
            found.append(Leg(start, stop))
    return found


def _trimmed_fall(turning: Turning, first: int, end: int) -> Leg | None:
    speed = turning.speed[first : end + 1]
    top = float(speed[0])
    high = np.flatnonzero(speed >= TOP_SHARE * top)
    start = first + int(high[-1]) + 1
    slow = np.flatnonzero(speed <= REST_SHARE * top)
    stop = first + (int(slow[0]) if slow.size else speed.size)
    if turning.is_driven is not None:
        driven = np.flatnonzero(turning.is_driven[start:stop])
        # One sample more: its mean may reach across the switch-off.
        start += int(driven[-1]) + 2 if driven.size else 0
    return Leg(start, stop) if stop - start >= LEAST_SAMPLES else None


def _driven(run: Electrical, time_s: Floats) -> Bools | None:
    drive = run.drive
    if drive is None or not np.isfinite(drive).any():
        return None
    level = np.abs(np.where(np.isfinite(drive), drive, 0.0))
    scale = float(np.percentile(level, 99.5))
    speed = np.abs(run.blocks.speed)
    still = level[speed <= REST_SHARE * float(speed.max(initial=0.0))]
    at_rest = float(np.percentile(still, 20)) if still.size else 0.0
    if at_rest > MOST_AT_REST * scale:  # a rotor held under current, not a meter's offset
        at_rest = 0.0
    is_driven = (level > at_rest + DRIVEN_SHARE * scale).astype(np.float64)
    return np.asarray(np.interp(time_s, run.blocks.time_s, is_driven) > 0)


def equal_steps(speed: Floats, n: int) -> list[Ints]:
    """Samples of a leg in `n` groups of equal steps of speed.

    The cuts are made on a running mean: cut on single noisy samples, a group would begin and end
    where the noise is high, and its slope would be too small.
    """
    reach = max(1, speed.size // (2 * n)) | 1
    smooth = np.convolve(np.pad(speed, reach // 2, mode="edge"), np.ones(reach) / reach, "valid")
    rising = smooth if smooth[-1] >= smooth[0] else -smooth
    edges = np.linspace(float(rising[0]), float(rising[-1]), n + 1)
    cuts = np.searchsorted(np.maximum.accumulate(rising), edges[1:-1])
    return np.split(np.arange(speed.size), cuts)


def _legs(speed: Floats, *, falling: bool) -> list[tuple[int, int]]:
    """First and last sample of each swing by `LEG_SHARE` of the highest speed or more."""
    least = LEG_SHARE * float(np.max(speed, initial=0.0))
    if least <= 0:
        return []
    sign = 1.0 if falling else -1.0
    found: list[tuple[int, int]] = []
    high = low = 0  # of the swing under way, as seen by `sign`
    is_falling = False
    for i, value in enumerate((sign * speed).tolist()):
        if not is_falling:
            if value >= sign * speed[high]:
                high = i
            elif sign * speed[high] - value >= least:
                is_falling, low = True, i
        elif value <= sign * speed[low]:
            low = i
        elif value - sign * speed[low] >= least:
            found.append((high, low))
            is_falling, high = False, i
    if is_falling:
        found.append((high, low))
    return found
