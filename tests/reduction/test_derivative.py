"""Slopes by running sums are those of straight lines fitted one by one."""

import numpy as np
import pytest

from server.reduction.derivative import slope


def test_slopes_are_those_of_a_line_fitted_to_each_window() -> None:
    # Far from time zero and on a high level, where differences of sums would lose digits.
    rng = np.random.default_rng(5)
    time = 5e4 + np.cumsum(rng.uniform(0.04, 0.06, 3000))
    values = 2000 + np.cumsum(rng.normal(size=3000))
    slopes = slope(time, values, window_s=0.5)
    spacing = float(np.median(np.diff(time)))
    reach = round(0.25 / spacing)
    for i in (reach, 1023, 1024, 2047, 2999 - reach):
        window = slice(i - reach, i + reach + 1)
        expected = np.polyfit(time[window] - time[i], values[window], 1)[0]
        assert slopes[i] == pytest.approx(expected, rel=1e-6, abs=1e-6)
