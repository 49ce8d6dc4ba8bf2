"""Strokes: escaping, coordinates, fewer points without a visible change."""

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.charts.figure import MARKERS
from server.charts.shapes import ellipsis, escape, marker_d, px, text, text_width, thinned, wrapped


def test_text_is_escaped():
    assert text(1, 2, '<b>&"', "t") == '<text class="t" x="1" y="2">&lt;b&gt;&amp;&quot;</text>'
    assert escape("a<b") == "a&lt;b"


@pytest.mark.parametrize(
    ("value", "expected"), [(1.0, "1"), (1.04, "1"), (1.26, "1.3"), (-3.0, "-3"), (100.0, "100")]
)
def test_coordinates_have_at_most_one_decimal(value, expected):
    assert px(value) == expected


def test_long_names_end_in_an_ellipsis_that_fits():
    name = "Aldermoor Router F2 with an uncommonly long name on its box"
    cut = ellipsis(name, 150)
    assert cut.endswith("…")
    assert text_width(cut) <= 150
    assert ellipsis("Osk", 150) == "Osk"


def test_words_wrap_to_the_width():
    lines = wrapped("No bench runs yet. The first published run fills this picture.", 200)
    assert len(lines) > 1
    assert all(text_width(line) <= 200 for line in lines)
    assert " ".join(lines) == "No bench runs yet. The first published run fills this picture."


def test_every_marker_has_its_own_shape():
    shapes = {marker_d(marker, 10, 10) for marker in MARKERS}
    assert len(shapes) == len(MARKERS)


def off(points, kept):
    """The largest upright distance of the points from the line through the kept ones."""
    worst, i = 0.0, 0
    for x, y in points:
        while i + 2 < len(kept) and kept[i + 1][0] < x:
            i += 1
        (x1, y1), (x2, y2) = kept[i], kept[i + 1]
        there = y1 if x2 == x1 else y1 + (y2 - y1) * (x - x1) / (x2 - x1)
        worst = max(worst, abs(there - y))
    return worst


@given(st.lists(st.floats(0, 200), min_size=3, max_size=300))
def test_fewer_points_stay_within_the_tolerance(heights):
    points = [(float(i), y) for i, y in enumerate(heights)]
    kept = thinned(points, tolerance=0.25)

    assert kept[0] == points[0]
    assert kept[-1] == points[-1]
    assert off(points, kept) <= 0.25 + 1e-6


def test_a_smooth_curve_needs_few_points():
    points = [(float(i), 100 + 80 * math.sin(i / 160)) for i in range(500)]
    assert len(thinned(points)) < 60


def test_jumps_straight_up_are_kept():
    points = [(0.0, 0.0), (1.0, 0.0), (1.0, 50.0), (2.0, 50.0), (3.0, 50.0)]
    assert (1.0, 0.0) in thinned(points)
    assert (1.0, 50.0) in thinned(points)
