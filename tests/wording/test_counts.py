"""Counts, dates and the line of what figures rest on."""

from datetime import UTC, date, datetime

import pytest

from server.wording.counts import (
    basis_line,
    count_of,
    plural,
    show_date,
    show_day,
    show_moment,
    small_number,
    span_of,
)


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.mark.parametrize(
    ("n", "expected"), [(0, "no runs"), (1, "one run"), (3, "3 runs"), (1032, "1 032 runs")]
)
def test_counts(n, expected):
    assert plain(count_of(n, "run")) == expected


@pytest.mark.parametrize(
    ("noun", "many"),
    [
        ("wet/dry vacuum", "wet/dry vacuums"),
        ("category", "categories"),
        ("tray", "trays"),
        ("brush", "brushes"),
        ("box", "boxes"),
    ],
)
def test_plurals(noun, many):
    assert plural(noun) == many


def test_what_figures_rest_on():
    assert plain(basis_line(4, 2, 3)) == "4 runs on 2 specimens by 3 testers"
    assert plain(basis_line(1, 1, 1)) == "one run on one specimen by one tester"
    assert basis_line(0, 0, 0) == "no bench runs yet"


def test_dates():
    day = date(2026, 11, 12)
    assert plain(show_date(day)) == "12 Nov 2026"
    assert show_date(None) == "date not stated"
    assert plain(show_day(day, today=date(2026, 12, 1))) == "12 Nov"
    assert plain(show_day(day, today=date(2027, 1, 1))) == "12 Nov 2026"
    assert plain(show_moment(datetime(2026, 11, 12, 14, 5, tzinfo=UTC))) == "12 Nov 2026, 14:05 UTC"


def test_small_numbers_are_words():
    assert [small_number(n) for n in (0, 7, 9, 10)] == ["none", "seven", "nine", "10"]


def test_a_span_of_one_is_told_as_one():
    assert span_of("line", 5, 5) == "line 5"
    assert plain(span_of("row", 5, 12070)) == "rows 5 to 12 070"
