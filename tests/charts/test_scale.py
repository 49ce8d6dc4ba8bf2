"""Axes: nice ticks that lie within their bounds."""

import math
from itertools import pairwise

import pytest
from hypothesis import example, given
from hypothesis import strategies as st

from server.charts.listings import rows_axis_end
from server.charts.scale import Scale, nice_bounds, nice_step, tick_texts, ticks


@pytest.mark.parametrize(
    ("span", "n", "expected"),
    [(5000, 5, 1000), (3.2, 4, 1.0), (0.9, 5, 0.2), (2300, 10, 250), (12, 3, 5), (0, 5, 1.0)],
)
def test_steps_are_1_2_2p5_or_5(span, n, expected):
    assert nice_step(span, n) == pytest.approx(expected)


@given(
    st.floats(min_value=-100, max_value=100),
    st.floats(min_value=1e-6, max_value=1e6),
    st.integers(2, 12),
)
def test_ticks_lie_within_and_are_even(spans_off, span, n):
    low = spans_off * span
    high = low + span
    found = ticks(low, high, n)

    assert len(found) <= n + 1
    for value in found:
        assert low - 1e-6 * span <= value <= high + 1e-6 * span
    steps = [b - a for a, b in pairwise(found)]
    assert all(s == pytest.approx(steps[0], rel=1e-6) for s in steps)


@given(st.floats(-1e5, 1e5), st.floats(-1e5, 1e5))
@example(5001.0, -1.9322483138620095e-06)
def test_bounds_hold_both_and_zero(a, b):
    low, high = nice_bounds(min(a, b), max(a, b))

    slack = 1e-8 * (high - low)  # far under a pixel
    assert low <= min(a, b, 0.0) + slack
    assert high >= max(a, b, 0.0) - slack
    assert high > low


def test_ticks_are_written_to_the_decimals_they_need():
    assert tick_texts([0.0, 0.25, 0.5]) == ["0.00", "0.25", "0.50"]
    assert tick_texts([0.0, 2.5, 5.0]) == ["0.0", "2.5", "5.0"]
    assert tick_texts([0.0, 1000.0]) == ["0", "1\u202f000"]
    assert tick_texts([-20.0, 0.0]) == ["\u221220", "0"]
    assert tick_texts([3.0]) == ["3"]


def test_a_scale_maps_its_ends():
    scale = Scale(0.0, 10.0, 200.0, 100.0)
    assert (scale.at(0), scale.at(10), scale.at(5)) == (200, 100, 150)
    assert math.isfinite(Scale(1.0, 1.0, 0.0, 10.0).at(1.0))


@pytest.mark.parametrize("highest", [0.0, 1.0, 74.57, 838.0, 4474.2, 99999.0])
def test_the_row_axis_leaves_room_but_not_much(highest):
    end = rows_axis_end(highest)
    assert end > highest
    assert end <= max(1000.0, highest * 1.5)
