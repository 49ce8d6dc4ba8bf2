"""One load coordinate out of torque, speed and current together, and where it stands still."""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.model.words import SegmentKind
from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks
from server.reduction.states import State, States, stretches
from server.reduction.torque import Shaft

HALF_WINDOW_S = 0.3
STEADY_STEP = 0.006  # of the run's load range, over one half window
STEADY_NOISE_STEPS = 3.5
DWELL_EXCURSION = 0.04  # a stretch that wanders further than this share is a slow sweep
SWEEP_CHUNK = 0.025
MIN_SWEEP_S = 0.8
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
        step = np.diff(inside[finite])
        noise = 1.4826 * float(np.median(np.abs(step - np.median(step)))) / np.sqrt(2)
        span = float(high - low)
        if span <= 0:
            continue
        weight = 1.0 / max(noise / span, 1e-3) ** 2
        sign = 1.0 if _moves_with(inside, reference, finite) else -1.0
        start = low if sign > 0 else high
        z += weight * np.nan_to_num(sign * (values - start) / span)
        total += weight
    if total == 0.0:
        return z, 0.0
    z /= total
    step = np.diff(z[running])
    noise = 1.4826 * float(np.median(np.abs(step - np.median(step)))) / np.sqrt(2)
    return z, noise


def find_stretches(
    blocks: Blocks, states: States, shaft: Shaft, *, min_dwell_s: float
) -> list[Stretch]:
    """Cut the run into stretches: off, run-up, steady dwell, sweep, run-down, in time order.

    A block is steady where the load coordinate's mean over the next half window differs from
    the mean over the last by less than 0.6 % of the run's range (or 3.5 standard deviations of
    that difference, where noise is larger).
    """
    z, noise = load_coordinate(blocks, states, shaft)
    found = _plain(states)
    for start, end in stretches(states.is_(State.RUNNING)):
        found += _cut_running(blocks.time_s, blocks.block_s, z, noise, start, end, min_dwell_s)
    return sorted(found, key=lambda s: s.first)


def _moves_with(values: Floats, reference: Floats, finite: NDArray[np.bool_]) -> bool:
    a, b = values[finite], reference[finite]
    ok = np.isfinite(b)
    return float(np.dot(a[ok] - a[ok].mean(), b[ok] - b[ok].mean())) >= 0


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


def _cut_running(
    time: Floats, block_s: float, z: Floats, noise: float, start: int, end: int, min_dwell_s: float
) -> list[Stretch]:
    n = end - start
    spacing = block_s if n < 2 else float(np.median(np.diff(time[start:end])))
    half = max(2, round(HALF_WINDOW_S / spacing))
    part = z[start:end]
    if n < 2 * half:
        return [Stretch(SegmentKind.SWEEP, start, end)] if n >= 3 else []
    total = np.concatenate(([0.0], np.cumsum(part)))
    mean = (total[half:] - total[:-half]) / half
    step = np.abs(mean[half:] - mean[:-half])
    limit = max(STEADY_STEP, STEADY_NOISE_STEPS * noise * np.sqrt(2.0 / half))
    found: list[Stretch] = []
    margin = max(0, half // 5)
    done = start
    for a, b in stretches(step <= limit):
        first = max(start + a + margin, done)
        last = start + b - 1 + 2 * half - margin
        if a == 0:
            first = max(start, done)
        if b == step.size:
            last = end
        if (last - first) * spacing < 0.98 * min_dwell_s or last - first < 2:
            continue
        smooth = mean[max(a, 0) : b + half]
        excursion = float(smooth.max() - smooth.min())
        kind = SegmentKind.STEADY_DWELL
        if excursion > max(DWELL_EXCURSION, 4 * noise / np.sqrt(half)):
            kind = SegmentKind.SWEEP
        found.append(Stretch(kind, first, last))
        done = last
    return _with_sweeps(found, time, z, start, end)


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
