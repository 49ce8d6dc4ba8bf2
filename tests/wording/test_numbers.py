"""Rounding and writing of numbers."""

import math
import random

import pytest
from hypothesis import given
from hypothesis import strategies as st
from uncertainties import ufloat

from server.wording.numbers import (
    MINUS,
    THIN_SPACE,
    decimals_of,
    fixed,
    grouped,
    round_together,
    short,
    significant,
    with_unit,
)


@pytest.mark.parametrize(
    ("value", "expanded", "expected"),
    [
        (642.3, 14.2, ("642", "14")),
        (642.3, 3.54, ("642.3", "3.5")),
        (642.3, 3.56, ("642", "4")),
        (642.3, 9.49, ("642", "9")),
        (642.3, 9.51, ("642", "10")),
        (642.3, 0.0967, ("642.30", "0.10")),
        (642.3, 99.9, (f"{640}", "100")),
        (0.60213, 0.01377, ("0.602", "0.014")),
        (12345.0, 678.0, (f"12{THIN_SPACE}300", "700")),
        (1234567.0, 25.0, (f"1{THIN_SPACE}234{THIN_SPACE}567", "25")),
        (-3.2, 0.11, (f"{MINUS}3.20", "0.11")),
        (-0.001, 1.0, ("0.0", "1.0")),
        (3.0, 14.0, ("3", "14")),
    ],
)
def test_value_and_uncertainty_are_rounded_together(value, expanded, expected):
    rounded = round_together(value, expanded)

    assert (rounded.value, rounded.uncertainty) == expected


@pytest.mark.parametrize(
    ("leading", "place"),
    [(100, 1), (354, 1), (355, 0), (949, 0), (950, 0), (999, 0)],
)
def test_the_edges_of_the_rule(leading, place):
    # 1.00-3.54 keep two digits, 3.55-9.49 one; 9.50-9.99 become 10, two digits
    assert decimals_of(leading / 100) == place


def test_agrees_with_the_uncertainties_package_where_it_writes_plainly():
    random.seed(20261125)
    n_compared = 0
    for _ in range(3000):
        u = 10 ** random.uniform(-5, 2.9)
        value = u * 10 ** random.uniform(-1, 5)
        written = f"{ufloat(value, u):f}"
        theirs_value, theirs_u = written.split("+/-")
        if u >= 35.4:
            continue  # in fixed notation the package shows units that its rule rounds away
        ours = round_together(value, u)
        n_compared += 1
        assert (ours.value.replace(THIN_SPACE, ""), ours.uncertainty) == (theirs_value, theirs_u)
    assert n_compared > 1500


def test_keeps_as_many_digits_as_the_uncertainties_package_at_any_size():
    random.seed(7)
    for _ in range(2000):
        u = 10 ** random.uniform(-9, 9)
        theirs = float(f"{ufloat(0.0, u):e}".split("+/-")[1].split(")")[0]) * 10 ** float(
            f"{ufloat(0.0, u):e}".split("e")[1]
        )
        ours = float(round_together(0.0, u).uncertainty.replace(THIN_SPACE, ""))
        assert ours == pytest.approx(theirs, rel=1e-9)


@given(st.floats(min_value=1e-12, max_value=1e12), st.floats(min_value=-1e12, max_value=1e12))
def test_rounding_moves_nothing_by_more_than_half_a_step(expanded, value):
    rounded = round_together(value, expanded)
    step = 10.0 ** -decimals_of(expanded)

    back = float(rounded.value.replace(THIN_SPACE, "").replace(MINUS, "-"))
    assert abs(back - value) <= 0.5 * step * (1 + 1e-6) + 1e-9 * abs(value)
    u_back = float(rounded.uncertainty.replace(THIN_SPACE, ""))
    assert abs(u_back - expanded) <= 0.155 * expanded
    assert u_back > 0


@pytest.mark.parametrize(
    ("text", "expected"),
    [
        ("0", "0"),
        ("999", "999"),
        ("1000", f"1{THIN_SPACE}000"),
        ("-1234567.25", f"{MINUS}1{THIN_SPACE}234{THIN_SPACE}567.25"),
        ("-0.00", "0.00"),
    ],
)
def test_thousands_are_grouped_with_thin_spaces(text, expected):
    assert grouped(text) == expected


def test_a_number_without_uncertainty_keeps_three_digits():
    assert significant(0.0) == "0"
    assert significant(0.012345) == "0.0123"
    assert significant(642.345) == "642"
    assert significant(99999.4) == f"99{THIN_SPACE}999"
    assert not math.isnan(float(significant(5e-324)))


def test_typed_figures_lose_trailing_noughts():
    assert [short(v) for v in (15.0, 8.2, 120.0, 0.5, 100.0)] == ["15", "8.2", "120", "0.5", "100"]


def test_units_never_leave_their_number():
    assert with_unit("15", "A") == "15\u00a0A"
    assert with_unit("0.98", "") == "0.98"
    assert fixed(1250.0, -1) == f"1{THIN_SPACE}250"
