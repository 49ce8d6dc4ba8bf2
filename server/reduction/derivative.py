"""Slopes of sampled signals by local straight lines, with a stated bandwidth."""

import numpy as np

from server.reduction.arrays import Floats


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
    n = time_s.size
    if n < 2:
        return np.zeros(n)
    spacing = float(np.median(np.diff(time_s)))
    reach = max(1, round(window_s / 2 / spacing))
    index = np.arange(n)
    sums = np.zeros((4, n))
    count = np.zeros(n)
    for offset in range(-reach, reach + 1):
        other = np.clip(index + offset, 0, n - 1)
        dt = time_s[other] - time_s
        dx = values[other] - values
        near = (np.abs(dt) <= 0.75 * window_s) | (abs(offset) <= 1)
        count += near
        for row, term in enumerate((dt, dx, dt * dx, dt * dt)):
            sums[row] += np.where(near, term, 0.0)
    sum_t, sum_x, sum_tx, sum_tt = sums
    spread = sum_tt - sum_t**2 / count
    return np.asarray((sum_tx - sum_t * sum_x / count) / np.maximum(spread, 1e-300))
