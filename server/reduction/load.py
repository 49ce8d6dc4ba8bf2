"""One load coordinate out of torque, speed and current together, and where it stands still."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.model.words import SegmentKind
from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks
from server.reduction.scatter import sample_noise
from server.reduction.states import State, States, stretches
from server.reduction.torque import Shaft

HALF_WINDOW_S = 0.3
STEADY_STEP = 0.006  # of the run's load range, over one half window
STEADY_NOISE_STEPS = 3.5
CONSTANT_SHARE = 2e-4  # a channel that moves by less of its size tells nothing of the load
SPEED_STANDS = 0.04  # of the run's speed range
DWELL_EXCURSION = 0.04  # a stretch that wanders further than this share is a slow sweep
# Within a dwell the load moves slower than this share of the run's mean rate, or by less in all.
DRIFT_SHARE = 0.3
DRIFT_ALLOWED = 0.004
SWEEP_CHUNK = 0.015
MIN_SWEEP_S = 0.8
BEFORE_COLLAPSE_S = 0.5
COLLAPSE_LOAD = 0.5  # of the run's load range
MIN_SWEEP_RANGE = 0.12


@dataclass(frozen=True, slots=True)
class Stretch:
    """Blocks first to end (exclusive) of one kind."""

    kind: SegmentKind
    first: int
    end: int


def load_coordinate(blocks: Blocks, states: States, shaft: Shaft) -> tuple[Floats, float]:
    """Weigh torque, speed, current and power into one coordinate that runs from 0 to about 1.

    Model:  z = sum w_c s_c (x_c - x_c,low) / range_c,  w_c ~ (range_c / noise_c)^2, sum w = 1

    Returns
    -------
    (m,) coordinate (nonsense outside running) and its noise per block. The sign s_c makes every
    channel rise with torque. Steadiness is thereby judged on all channels together, each as far
    as it can tell anything.
    """
    running = states.is_(State.RUNNING)
    candidates = [shaft.brake_torque, shaft.speed]
    candidates += [c for c in (blocks.current, blocks.power) if c is not None]
    reference = shaft.brake_torque[running]
    z = np.zeros(blocks.size)
    total = 0.0
    for values in candidates:
        inside = values[running]
        finite = np.isfinite(inside)
        if np.count_nonzero(finite) < 5:
            continue
        low, high = np.percentile(inside[finite], [2, 98])
        noise = sample_noise(inside[finite])
        span = float(high - low)
        if span <= CONSTANT_SHARE * float(np.max(np.abs(inside[finite]))):
            continue
        weight = 1.0 / max(noise / span, 1e-3) ** 2
        sign = 1.0 if _moves_with(inside, reference, finite) else -1.0
        start = low if sign > 0 else high
        z += weight * np.nan_to_num(sign * (values - start) / span)
        total += weight
    if total == 0.0:
        return z, 0.0
    z /= total
    return z, sample_noise(z[running])


def find_stretches(
    blocks: Blocks,
    states: States,
    speed: Floats,
    z: Floats,
    noise: float,
    *,
    min_dwell_s: float,
) -> list[Stretch]:
    """Cut the run into stretches: off, run-up, steady dwell, sweep, run-down, in time order.

    A block is steady where the load coordinate's mean over the next half window differs from
    the mean over the last by less than 0.6 % of the run's range (or 3.5 standard deviations of
    that difference, where noise is larger). In a dwell the speed itself must stand still, too.
    """
    found = _plain(states)
    found = [_failure_or_not(s, states, z, blocks.time_s) for s in found]
    for start, end in stretches(states.is_(State.RUNNING)):
        found += _cut_running(blocks.time_s, z, noise, start, end, min_dwell_s)
    running = states.is_(State.RUNNING)
    span = float(np.ptp(speed[running])) if running.any() else 0.0
    u = sample_noise(speed[running])
    kept = [s for s in found if not _still_slowing(s, speed, span, u)]
    return sorted(kept, key=lambda s: s.first)


def _still_slowing(stretch: Stretch, speed: Floats, span: float, noise: float) -> bool:
    """A pause in the load coordinate while the speed runs on: the brake has just been moved."""
    if stretch.kind is not SegmentKind.STEADY_DWELL:
        return False
    part = speed[stretch.first : stretch.end]
    third = max(1, part.size // 3)
    moved = abs(float(np.mean(part[-third:]) - np.mean(part[:third])))
    return moved > max(SPEED_STANDS * span, 4 * noise * float(np.sqrt(2.0 / third)))


def _moves_with(values: Floats, reference: Floats, finite: NDArray[np.bool_]) -> bool:
    a, b = values[finite], reference[finite]
    ok = np.isfinite(b)
    return float(np.sum((a[ok] - a[ok].mean()) * (b[ok] - b[ok].mean()))) >= 0


def _failure_or_not(stretch: Stretch, states: States, z: Floats, time: Floats) -> Stretch:
    """A run-down that begins under load is a collapse of the current: a fuse, or worse."""
    if stretch.kind is not SegmentKind.RUN_DOWN or stretch.first == 0:
        return stretch
    before = np.arange(max(0, stretch.first - 200), stretch.first)
    before = before[states.is_(State.RUNNING)[before]]
    before = before[time[before] >= time[stretch.first] - BEFORE_COLLAPSE_S]
    if before.size == 0 or float(np.mean(z[before])) < COLLAPSE_LOAD:
        return stretch
    return Stretch(SegmentKind.FAILURE, stretch.first, stretch.end)


def _plain(states: States) -> list[Stretch]:
    kinds = {
        State.OFF: SegmentKind.OFF,
        State.RUN_UP: SegmentKind.RUN_UP,
        State.RUN_DOWN: SegmentKind.RUN_DOWN,
    }
    return [
        Stretch(kind, a, b)
        for state, kind in kinds.items()
        for a, b in stretches(states.is_(state))
    ]


@dataclass(frozen=True, slots=True)
class _Running:
    """One uninterrupted stretch of running: its load coordinate and the windows it is judged by."""

    start: int
    z: Floats
    noise: float
    spacing_s: float
    half: int
    run_rate: float
    min_dwell_s: float

    def drift(self, first: int, end: int) -> float:
        """How fast the load moves within blocks first to end (relative to start), noise allowed."""
        part = self.z[first:end]
        n = part.size
        if n < 3:
            return 0.0
        position = (np.arange(n) - (n - 1) / 2) * self.spacing_s
        spread = float(position @ position)
        slope = float(position @ part) / spread
        return max(0.0, abs(slope) - 2 * self.noise / float(np.sqrt(spread)))

    def is_dwell(self, first: int, end: int) -> bool:
        length = (end - first) * self.spacing_s
        drift = self.drift(first, end)
        return (
            end - first >= 2
            and length >= 0.98 * self.min_dwell_s
            and (drift <= DRIFT_SHARE * self.run_rate or drift * length <= DRIFT_ALLOWED)
        )


def _cut_running(
    time: Floats, z: Floats, noise: float, start: int, end: int, min_dwell_s: float
) -> list[Stretch]:
    n = end - start
    if n < 4:
        return []
    spacing = float(np.median(np.diff(time[start:end])))
    # Where the load coordinate is noisy, longer windows keep the threshold small.
    wanted = 2 * (STEADY_NOISE_STEPS * noise / STEADY_STEP) ** 2
    half = max(2, round(HALF_WINDOW_S / spacing))
    half = int(max(half, min(wanted, 0.6 * min_dwell_s / spacing, n // 4)))
    rate = 1.0 / float(time[end - 1] - time[start])
    run = _Running(start, z[start:end], noise, spacing, half, rate, min_dwell_s)
    if n < 2 * half:
        return [Stretch(SegmentKind.SWEEP, start, end)]
    total = np.concatenate(([0.0], np.cumsum(run.z)))
    mean = (total[half:] - total[:-half]) / half
    step = np.abs(mean[half:] - mean[:-half])
    limit = max(STEADY_STEP, STEADY_NOISE_STEPS * noise * np.sqrt(2.0 / half))
    found: list[Stretch] = []
    margin, done = half // 5, 0
    for a, b in stretches(step <= limit):
        first = 0 if a == 0 else max(a + margin, done)
        last = n if b == step.size else b - 1 + 2 * half - margin
        first = max(first, done)
        if last - first < 2:
            continue
        pieces = _dwells_within(run, mean, first, last)
        found += [Stretch(SegmentKind.STEADY_DWELL, start + f, start + e) for f, e in pieces]
        done = pieces[-1][1] if pieces else done
    return _with_sweeps(found, time, z, start, end)


def _dwells_within(run: _Running, mean: Floats, first: int, last: int) -> list[tuple[int, int]]:
    """The dwells in a slow stretch: all of it, or its two ends where it is a sweep between."""
    half = run.half
    smooth = mean[first : max(last - half + 1, first + 1)]
    if smooth.size == 0:
        return []
    band = max(DWELL_EXCURSION, 4 * run.noise / np.sqrt(half))
    if float(np.ptp(smooth)) <= band:
        return [(first, last)] if run.is_dwell(first, last) else []
    tight = max(DWELL_EXCURSION / 4, 3 * run.noise / np.sqrt(half))
    pieces: list[tuple[int, int]] = []
    away = np.abs(smooth - smooth[0]) > tight
    stop = first + int(np.argmax(away))
    if run.is_dwell(first, stop):
        pieces.append((first, stop))
    away = np.abs(smooth - smooth[-1]) > tight
    begin = first + int(smooth.size - np.argmax(away[::-1])) + half - 1
    if begin > stop and run.is_dwell(begin, last):
        pieces.append((begin, last))
    return pieces


def _with_sweeps(
    found: list[Stretch], time: Floats, z: Floats, start: int, end: int
) -> list[Stretch]:
    """Fill the gaps between dwells with sweeps where they are long and move far enough."""
    result: list[Stretch] = []
    at = start
    for stretch in [*found, Stretch(SegmentKind.OFF, end, end)]:
        if stretch.first > at:
            gap = z[at : stretch.first]
            length = float(time[stretch.first - 1] - time[at])
            if length >= MIN_SWEEP_S and float(np.ptp(gap)) >= MIN_SWEEP_RANGE:
                result.append(Stretch(SegmentKind.SWEEP, at, stretch.first))
        if stretch.end > stretch.first:
            result.append(stretch)
        at = max(at, stretch.end)
    return _merge_sweeps(result)


def _merge_sweeps(items: list[Stretch]) -> list[Stretch]:
    merged: list[Stretch] = []
    for item in items:
        last = merged[-1] if merged else None
        if (
            last is not None
            and item.kind is SegmentKind.SWEEP
            and last.kind is SegmentKind.SWEEP
            and item.first <= last.end
        ):
            merged[-1] = Stretch(SegmentKind.SWEEP, last.first, item.end)
        else:
            merged.append(item)
    return merged
