"""Time put in order, repeated rows dropped."""

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from server.errors import InvalidSignal
from server.model.words import Channel
from server.reduction.arrays import FloatArray, Floats

# Above this share of equal neighbouring times the clock is coarse: its ticks hold several rows.
COARSE_CLOCK_SHARE = 0.2


@dataclass(frozen=True, slots=True)
class Ordered:
    """Rows in rising time; `n_moved` stood out of order, `n_repeated` were dropped."""

    time_s: Floats
    channels: dict[Channel, FloatArray]
    n_moved: int
    n_repeated: int
    is_clock_coarse: bool


def order_rows(time_s: FloatArray, channels: Mapping[Channel, FloatArray]) -> Ordered:
    """Sort rows by time, drop repeated ones, and start time at zero.

    Parameters
    ----------
    time_s : (n,) seconds, any order; rows with a time that is not finite are dropped.
    channels : (n,) arrays, moved with their rows.

    Returns
    -------
    Ordered. Where one time stands on several rows with different values the first is kept,
    unless over a fifth of the rows share a time: then the clock is coarse, and the rows of one
    tick are spread evenly up to the next.

    Raises
    ------
    InvalidSignal: fewer than two different times.
    """
    time = np.asarray(time_s, dtype=np.float64)
    arrays = dict(channels)
    usable = np.isfinite(time)
    if not usable.all():
        time = time[usable]
        arrays = {c: a[usable] for c, a in arrays.items()}
    if time.size < 2:
        raise InvalidSignal("fewer than two rows have a time")
    step = np.diff(time)
    if step.min() > 0:
        return Ordered(_from_start(time), arrays, 0, 0, False)
    n_moved = int(np.count_nonzero(step < 0))
    if n_moved:
        order = np.argsort(time, kind="stable")
        time = time[order]
        arrays = {c: a[order] for c, a in arrays.items()}
    keep = ~_is_repeat(time, arrays)
    n_repeated = int(time.size - np.count_nonzero(keep))
    time = time[keep]
    arrays = {c: a[keep] for c, a in arrays.items()}
    is_tie = np.diff(time, prepend=time[0] - 1.0) <= 0
    is_coarse = bool(np.mean(is_tie) > COARSE_CLOCK_SHARE)
    if is_coarse:
        time = _spread_ticks(time)
    elif is_tie.any():
        n_repeated += int(np.count_nonzero(is_tie))
        time = time[~is_tie]
        arrays = {c: a[~is_tie] for c, a in arrays.items()}
    if time.size < 2:
        raise InvalidSignal("all rows have the same time")
    return Ordered(_from_start(time), arrays, n_moved, n_repeated, is_coarse)


def _from_start(time: Floats) -> Floats:
    """Seconds from the first row, to the nanosecond: a clock's offset leaves no rounding behind."""
    since: Floats = time - time[0]
    np.round(since, 9, out=since)
    return since


def _is_repeat(time: Floats, arrays: Mapping[Channel, FloatArray]) -> NDArray[np.bool_]:
    """True where a row equals the one before it, time included."""
    repeat = np.zeros(time.size, dtype=bool)
    repeat[1:] = np.diff(time) <= 0
    for values in arrays.values():
        same = (values[1:] == values[:-1]) | (np.isnan(values[1:]) & np.isnan(values[:-1]))
        repeat[1:] &= same
    return repeat


def _spread_ticks(time: Floats) -> Floats:
    ticks, first, count = np.unique(time, return_index=True, return_counts=True)
    if ticks.size < 2:
        raise InvalidSignal("all rows have the same time")
    length = np.diff(ticks, append=ticks[-1] + np.median(np.diff(ticks)))
    within = np.arange(time.size) - np.repeat(first, count)
    return np.repeat(ticks, count) + within * np.repeat(length / count, count)
