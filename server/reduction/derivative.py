"""Slopes of sampled signals by local straight lines, with a stated bandwidth."""

import numpy as np

from server.reduction.arrays import Floats, Ints
from server.reduction.scatter import sample_noise

AGREEMENT = 2.0  # standard uncertainties
ROWS_AT_ONCE = 1024  # windows whose running sums share an origin


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
    return _lines(time_s, values, window_s)[0]


def _lines(time_s: Floats, values: Floats, window_s: float) -> tuple[Floats, Floats]:
    """Slopes, and the spread of the times in each window (sum of squares about their mean)."""
    n = time_s.size
    if n < 2:
        return np.zeros(n), np.ones(n)
    spacing = float(np.median(np.diff(time_s)))
    reach = max(1, round(window_s / 2 / spacing))
    time, value = (np.pad(signal, reach, mode="edge") for signal in (time_s, values))
    index = np.arange(n) + reach
    # A neighbour on either side is taken however far off it is.
    first = np.searchsorted(time, time_s - 0.77 * window_s, side="left")
    first = np.clip(first, index - reach, index - 1)
    end = np.searchsorted(time, time_s + 0.77 * window_s, side="right")
    end = np.clip(end, index + 2, index + reach + 1)
    slopes, spreads = np.empty(n), np.empty(n)
    for start in range(0, n, ROWS_AT_ONCE):
        rows = slice(start, start + ROWS_AT_ONCE)
        lines = _lines_of(time, value, first[rows], end[rows])
        slopes[rows], spreads[rows] = lines
    return slopes, spreads


def _lines_of(time_s: Floats, values: Floats, first: Ints, end: Ints) -> tuple[Floats, Floats]:
    """Slope and spread in each window from `first` to `end`, by differences of running sums."""
    low, high = int(first[0]), int(end[-1])
    # About a middle of their own, so that the sums stay small and their differences exact.
    t = time_s[low:high] - time_s[(low + high) // 2]
    x = values[low:high] - float(np.mean(values[low:high]))
    running = np.zeros((4, high - low + 1))
    np.cumsum(np.stack([t, x, t * x, t * t]), axis=1, out=running[:, 1:])
    sums = running.take(end - low, axis=1) - running.take(first - low, axis=1)
    sum_t, sum_x, sum_tx, sum_tt = sums
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
    best, spread = _lines(time_s, values, window_s)
    if n < 8:
        return best, np.zeros(n)
    noise = sample_noise(values)
    u = noise / np.sqrt(spread)
    settled = np.zeros(n, dtype=bool)
    bend = np.zeros(n)
    for doubling in range(1, doublings + 1):
        window = window_s * 2**doubling
        if window > (time_s[-1] - time_s[0]) / 3:
            break
        wider, spread = _lines(time_s, values, window)
        u_wider = noise / np.sqrt(spread)
        differs = ~settled & (np.abs(wider - best) > AGREEMENT * np.hypot(u, u_wider))
        bend = np.where(differs, np.abs(wider - best) / 2, bend)
        settled |= differs
        best = np.where(settled, best, wider)
        u = np.where(settled, u, u_wider)
    return best, np.hypot(u, bend)
