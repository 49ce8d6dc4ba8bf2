"""Slopes of sampled signals by local straight lines, with a stated bandwidth."""

import numpy as np

from server.reduction.arrays import Floats
from server.reduction.scatter import sample_noise

AGREEMENT = 2.0  # standard uncertainties


def slope(time_s: Floats, values: Floats, *, window_s: float) -> Floats:
    """Slope of a least-squares straight line through a window around each sample.

    Model:  d(t_i) = sum (t - t_mean)(x - x_mean) / sum (t - t_mean)^2 over |t - t_i| <= window/2

    Parameters
    ----------
    time_s : (n,) strictly increasing seconds, spacing may vary; values : (n,).
    window_s : full width. At least three samples are always taken; at the ends the window is cut.

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
    index = np.arange(n)
    sums = np.zeros((4, n))
    count = np.zeros(n)
    for offset in range(-reach, reach + 1):
        other = np.clip(index + offset, 0, n - 1)
        dt = time_s[other] - time_s
        dx = values[other] - values
        near = (np.abs(dt) <= 0.77 * window_s) | (abs(offset) <= 1)
        count += near
        for row, term in enumerate((dt, dx, dt * dx, dt * dt)):
            sums[row] += np.where(near, term, 0.0)
    sum_t, sum_x, sum_tx, sum_tt = sums
    spread = sum_tt - sum_t**2 / count
    spread = np.maximum(spread, 1e-300)
    return np.asarray((sum_tx - sum_t * sum_x / count) / spread), spread


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
