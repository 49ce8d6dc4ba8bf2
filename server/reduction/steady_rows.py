"""Stretches of blocks in which a motor's state stands still, without a torque to judge it by."""

from dataclasses import dataclass

import numpy as np

from server.model.results import Segment
from server.model.words import SegmentKind
from server.reduction.arrays import Bools, Floats, Ints
from server.reduction.blocks import Blocks
from server.reduction.scatter import sample_noise
from server.reduction.states import stretches

WINDOW_S = 1.0
LEAST_S = 1.0
SPEED_SPAN = 0.02  # of the speed, within a window
DRIVE_SPAN = 0.10  # of current or power, within a window
NOISE_SPAN = 6.0  # standard deviations of single blocks: what noise alone spans
SAME_STATE = 0.04  # of the speed: hand readings nearer than that are of one state


@dataclass(frozen=True, slots=True)
class Steady:
    """Blocks of one state, in rising order."""

    blocks: Ints
    length_s: float


def steady_stretches(
    blocks: Blocks, speed: Floats, drive: Floats | None, on: Bools
) -> list[Steady]:
    """Stretches in which speed and drive stand still, `on` throughout, of `LEAST_S` or more.

    Model:  max - min within `WINDOW_S` under 2 % of the speed and 10 % of the drive, noise added
    """
    reach = max(1, round(WINDOW_S / blocks.spacing_s))
    calm = on & _is_calm(speed, reach, SPEED_SPAN)
    if drive is not None:
        calm &= _is_calm(drive, reach, DRIVE_SPAN)
    found = []
    for first, end in stretches(calm):
        stop = min(end + reach, blocks.size)
        while stop > end and not on[end:stop].all():
            stop -= 1
        length = float(blocks.end_s[stop - 1] - blocks.start_s[first])
        if length >= min(LEAST_S, 0.9 * float(blocks.end_s[-1] - blocks.start_s[0])):
            found.append(Steady(np.arange(first, stop), length))
    return found


def states_of_rows(speed: Floats, on: Bools) -> list[Steady]:
    """Rows without time grouped by speed: one state each, as long as it has rows."""
    rows = np.flatnonzero(on)
    if rows.size == 0:
        return []
    order = rows[np.argsort(speed[rows], kind="stable")]
    step = np.diff(speed[order])
    cuts = np.flatnonzero(step > SAME_STATE * speed[order][1:]) + 1
    return [Steady(np.sort(group), float(group.size)) for group in np.split(order, cuts)]


def longest(found: list[Steady], drive: Floats | None) -> Steady | None:
    """The longest stretch; of equally long ones that of the highest drive."""

    def key(one: Steady) -> tuple[float, float]:
        known = np.zeros(0) if drive is None else drive[one.blocks]
        known = known[np.isfinite(known)]
        return round(one.length_s, 6), float(known.mean()) if known.size else 0.0

    return max(found, key=key) if found else None


def steady_segments(blocks: Blocks, found: list[Steady], *, by_row: bool) -> tuple[Segment, ...]:
    """A segment for each stretch; rows by themselves are each their own."""
    pairs = (
        [(int(i), int(i)) for one in found for i in one.blocks]
        if by_row
        else [(int(one.blocks[0]), int(one.blocks[-1])) for one in found]
    )
    return tuple(
        Segment(
            kind=SegmentKind.STEADY_DWELL,
            start_s=float(blocks.start_s[first]),
            end_s=float(blocks.end_s[last]),
            first_row=int(blocks.first_row[first]),
            last_row=int(blocks.first_row[last] + blocks.n_rows[last] - 1),
        )
        for first, last in sorted(pairs)
    )


def _is_calm(values: Floats, reach: int, span: float) -> Bools:
    """Whether the values of the window that begins at each block keep within a span."""
    known = np.where(np.isfinite(values), values, 0.0)
    n = known.size
    if n <= reach:
        reach = max(n - 1, 1)
    high, low = known.copy(), known.copy()
    for shift in range(1, reach + 1):
        ahead = known[np.minimum(np.arange(n) + shift, n - 1)]
        np.maximum(high, ahead, out=high)
        np.minimum(low, ahead, out=low)
    allowed = span * np.abs(known) + NOISE_SPAN * sample_noise(known)
    return np.asarray(high - low <= allowed)
