"""Slopes of sampled signals by local straight lines, with a stated bandwidth."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import Floats, Ints
from server.reduction.scatter import sample_noise

AGREEMENT = 2.0  # standard uncertainties
ROWS_AT_ONCE = 2048  # windows whose running sums share an origin


def slope(time_s: Floats, values: Floats, *, window_s: float) -> Floats:
    """Slope of a least-squares straight line through a window around each sample.

    Model:  d(t_i) = sum (t - t_mean)(x - x_mean) / sum (t - t_mean)^2 over |t - t_i| <= window/2

    Parameters
    ----------
    time_s : (n,) strictly increasing seconds, spacing may vary; values : (n,).
    window_s : full width. At least three samples are always taken; at the ends the last sample
        counts for those that are missing.

    Returns
    -------
    (n,) slopes. For a sine of frequency f the gain is 3 (sin a - a cos a) / a^3 with
    a = pi f window: -3 dB at f = 0.58 / window; no phase shift inside the record.

    Sources
    -------
    The line fit is the first-order case of Savitzky and Golay, Anal. Chem. 36 (1964) 1627.
    """
    return _lines(time_s, values, [window_s])[0][0]


@dataclass(frozen=True, slots=True)
class _Windows:
    """(n,) first sample and the one behind the last, in the padded signals, around each sample."""

    first: Ints
    end: Ints


def _lines(
    time_s: Floats, values: Floats, windows_s: Sequence[float]
) -> list[tuple[Floats, Floats]]:
    """For each width of window the slopes, and the spread of the times in the windows (sum of
    squares about their mean)."""
    n = time_s.size
    if n < 2:
        return [(np.zeros(n), np.ones(n)) for _ in windows_s]
    spacing = float(np.median(np.diff(time_s)))
    reaches = [max(1, round(width / 2 / spacing)) for width in windows_s]
    time, value = (np.pad(signal, max(reaches), mode="edge") for signal in (time_s, values))
    around = [
        _windows_around(time, time_s, max(reaches), reach=reach, window_s=width)
        for reach, width in zip(reaches, windows_s, strict=True)
    ]
    lines = [(np.empty(n), np.empty(n)) for _ in windows_s]
    for start in range(0, n, ROWS_AT_ONCE):
        rows = slice(start, start + ROWS_AT_ONCE)
        low = min(int(w.first[start]) for w in around)
        high = max(int(w.end[rows][-1]) for w in around)
        running = _running_sums(time[low:high], value[low:high])
        for windows, (slopes, spreads) in zip(around, lines, strict=True):
            first, end = windows.first[rows] - low, windows.end[rows] - low
            slopes[rows], spreads[rows] = _lines_of(running, first, end)
    return lines


def _windows_around(
    time: Floats, time_s: Floats, n_padded: int, *, reach: int, window_s: float
) -> _Windows:
    """Windows of `reach` samples on either side of each of `time_s`, which `time` holds padded.

    Where samples are missing a window ends sooner; a neighbour is taken however far off it is.
    """
    index = np.arange(n_padded, n_padded + time_s.size)
    first, end = index - reach, index + reach + 1
    earliest, latest = time_s - 0.77 * window_s, time_s + 0.77 * window_s
    early, late = time[first] < earliest, time[end - 1] > latest
    first[early] = np.minimum(np.searchsorted(time, earliest[early], side="left"), index[early] - 1)
    end[late] = np.maximum(np.searchsorted(time, latest[late], side="right"), index[late] + 2)
    return _Windows(first, end)


def _running_sums(time_s: Floats, values: Floats) -> Floats:
    """(4, n + 1) running sums of t, x, t x and t^2.

    About a middle of their own, so that the sums stay small and their differences exact.
    """
    t = time_s - time_s[time_s.size // 2]
    x = values - float(np.mean(values))
    running = np.zeros((4, t.size + 1))
    np.cumsum(np.stack([t, x, t * x, t * t]), axis=1, out=running[:, 1:])
    return running


def _lines_of(running: Floats, first: Ints, end: Ints) -> tuple[Floats, Floats]:
    """Slope and spread in each window from `first` to `end`, by differences of running sums."""
    sum_t, sum_x, sum_tx, sum_tt = running.take(end, axis=1) - running.take(first, axis=1)
    count = end - first
    spread = np.maximum(sum_tt - sum_t**2 / count, 1e-300)
    return np.asarray((sum_tx - sum_t * sum_x / count) / spread), np.asarray(spread)


def adaptive_slope(
    time_s: Floats, values: Floats, *, window_s: float, doublings: int
) -> tuple[Floats, Floats]:
    """Slope by `slope` over the longest of several windows that agrees with the shorter ones.

    Model:  windows w, 2w, 4w ...; the next longer one is taken while its slope differs from the
            one in hand by less than `AGREEMENT` standard uncertainties of both

    Parameters
    ----------
    time_s, values : as for `slope`; the noise of `values` is read off their differences.
    window_s : the shortest window, which sets the bandwidth where the signal moves fast.
    doublings : how many longer windows are tried.

    Returns
    -------
    (n,) slopes and their standard uncertainties: bandwidth 0.58 / window_s in transients, down
    to 0.58 / (2^doublings window_s) where nothing moves, so that noise is not taken for
    acceleration. Where a longer window disagrees, half the disagreement counts as uncertainty.

    Sources
    -------
    The rule for choosing a window this way is due to Lepski, Theory Probab. Appl. 35 (1990) 454
    (cited from memory).
    """
    n = time_s.size
    longest_s = float(time_s[-1] - time_s[0]) / 3 if n else 0.0
    wider_s = [window_s * 2**doubling for doubling in range(1, doublings + 1)]
    windows_s = [window_s, *(width for width in wider_s if width <= longest_s)]
    (best, spread), *longer = _lines(time_s, values, windows_s)
    if n < 8:
        return best, np.zeros(n)
    noise = sample_noise(values)
    u = noise / np.sqrt(spread)
    settled = np.zeros(n, dtype=bool)
    bend = np.zeros(n)
    for wider, spread in longer:
        u_wider = noise / np.sqrt(spread)
        differs = ~settled & (np.abs(wider - best) > AGREEMENT * np.hypot(u, u_wider))
        bend = np.where(differs, np.abs(wider - best) / 2, bend)
        settled |= differs
        best = np.where(settled, best, wider)
        u = np.where(settled, u, u_wider)
    return best, np.hypot(u, bend)
