"""Scatter of a mean, with an effective number of samples that allows for autocorrelation."""

import numpy as np

from server.reduction.arrays import Floats

STEPPED_SHARE = 0.7  # of the differences; fewer are not zero: the signal is counted in steps
RARE_SHARE = 0.03  # so few moves are those of the load


def mean_and_u(values: Floats, weight: Floats) -> tuple[float, float, float]:
    """Weighted mean, its standard uncertainty, and the effective number of samples.

    Model:  u = s / sqrt(n_eff - 1),  n_eff = n (1 - r) / (1 + r),  r the lag-one autocorrelation
            of the residuals about a straight line, kept between 0 and 0.95

    Parameters
    ----------
    values, weight : (n,) block means and rows per block; values that are not finite are left out.

    Returns
    -------
    mean, u, n_eff. One value alone has no scatter: u is 0 (the pooled scatter takes its place
    when points are weighed). All zero where nothing is finite.

    Sources
    -------
    The first-order autoregressive reduction of the sample count: Bayley and Hammersley, J. R.
    Statist. Soc. Suppl. 8 (1946) 184 (cited from memory).
    """
    finite = np.isfinite(values)
    x, w = values[finite], weight[finite]
    n = x.size
    if n == 0:
        return 0.0, 0.0, 0.0
    mean = float(np.average(x, weights=w))
    if n < 3:
        return mean, float(np.ptp(x) / 2) if n == 2 else 0.0, float(n)
    position = np.arange(n) - (n - 1) / 2
    residual = x - x.mean()
    residual = residual - position * (np.dot(position, residual) / np.dot(position, position))
    energy = float(np.dot(residual, residual))
    if energy == 0.0:
        return mean, 0.0, float(n)
    r = float(np.clip(np.dot(residual[1:], residual[:-1]) / energy, 0.0, 0.95))
    n_eff = max(2.0, n * (1 - r) / (1 + r))
    s = np.sqrt(energy / max(n - 2, 1))
    return mean, float(s / np.sqrt(n_eff)), n_eff


def sample_noise(values: Floats) -> float:
    """Standard deviation of one sample's noise, read off the differences of neighbours.

    Model:  1.4826 median|d - median d| / sqrt(2), d the differences; where over 30 % of them are
            zero the signal is counted in steps, and half its usual step is noise at least

    Notes
    -----
    The median leaves out the moves of the signal itself, as long as it rests half of the time.
    """
    step = np.diff(values)
    step = step[np.isfinite(step)]
    if step.size < 3:
        return 0.0
    noise = 1.4826 * float(np.median(np.abs(step - np.median(step)))) / float(np.sqrt(2))
    moved = np.abs(step[step != 0])
    if RARE_SHARE * step.size < moved.size < STEPPED_SHARE * step.size:
        noise = max(noise, float(np.percentile(moved, 25)) / 2)
    return noise
