"""CSV and JSON that leave the ledger."""

import csv
import io
import json
import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from server.charts.export import (
    LICENCE_HEADERS,
    POINT_FIELDS,
    csv_cell,
    csv_text,
    curves_csv,
    guarded,
    metrics_csv,
    points_csv,
    table_csv,
    table_json,
    trace_csv,
)
from server.charts.figure import FigureTable
from server.model.measured import Metric
from server.model.words import MetricName
from tests.charts.examples import reduction, trace


def read(text):
    return list(csv.reader(io.StringIO(text, newline=""), strict=True))


cells = st.text(st.characters(exclude_categories=("Cs",), exclude_characters="\0"), max_size=20)


@given(st.lists(st.tuples(cells, cells), max_size=8))
def test_text_survives_but_for_the_guard(rows):
    back = read(csv_text(("a", "b"), rows))
    assert back == [["a", "b"], *[[guarded(c) for c in row] for row in rows]]


@given(st.floats(allow_nan=False, allow_infinity=False))
def test_numbers_survive_exactly(value):
    assert float(csv_cell(value)) == value


@pytest.mark.parametrize(
    "text",
    ["=1+1", "+1", "-1", "@sum", "\t=1", "\r=1", "  =cmd|' /C calc'!A0", "\n=1", "＝1+1"],
)
def test_no_text_cell_starts_a_formula(text):
    (cell,) = read(csv_text((), [(text,)]))[1]
    assert cell == f"'{text}"


def test_negative_numbers_are_left_alone():
    assert csv_cell(-1.5) == "-1.5"
    assert csv_cell(None) == ""
    assert csv_cell(True) == "true"
    assert guarded("\u221220\u00a0W") == "\u221220\u00a0W"


@pytest.mark.parametrize("value", [math.nan, math.inf])
def test_what_is_not_finite_is_refused(value):
    with pytest.raises(AssertionError):
        csv_cell(value)


def test_lines_end_as_the_standard_says():
    assert csv_text(("a", "b"), [(1, 'x"y'), (2.5, "u,v")]) == 'a,b\r\n1,"x""y"\r\n2.5,"u,v"\r\n'


def test_the_licence_is_named_without_breaking_parsers():
    assert csv_text(("a",), []) == "a\r\n"
    first, *rest = csv_text(("a",), [], with_licence_line=True).split("\r\n")
    assert first.startswith("# ")
    assert "CC BY 4.0" in first
    assert rest == ["a", ""]
    assert 'rel="license"' in LICENCE_HEADERS["Link"]


def test_metrics_are_si_with_their_unit_and_reason():
    name, other = MetricName.SHAFT_POWER_MAX_STEADY, MetricName.EFFICIENCY_MAX
    metrics = {
        name: Metric(name, 838.25, 10.5, lower_bound=True),
        other: Metric.missing(other, "no real power, only V·I"),
    }
    assert read(metrics_csv(metrics, method_version="brake-1")) == [
        [
            "metric",
            "value",
            "unit",
            "standard_uncertainty",
            "lower_bound",
            "reason",
            "method_version",
        ],
        ["shaft_power_max_steady", "838.25", "W", "10.5", "true", "", "brake-1"],
        ["efficiency_max", "", "1", "", "false", "no real power, only V·I", "brake-1"],
    ]


def test_curves_points_and_traces_are_whole():
    run = reduction()
    curves, points = read(curves_csv(run.curves)), read(points_csv(run.points))
    drawn = read(trace_csv(trace()))

    assert len(curves) == 1 + sum(len(c.torque_nm) for c in run.curves)
    assert float(curves[1][3]) == run.curves[0].value[0]
    assert points[0] == list(POINT_FIELDS)
    assert float(points[1][points[0].index("torque [N m]")]) == run.points[0].torque_nm
    assert len(drawn) == 1 + 4 * 1200
    assert drawn[1] == ["speed", "0.0", "0.0", "rad/s"]


def test_every_field_of_a_load_point_leaves():
    assert set(POINT_FIELDS.values()) == set(type(reduction().points[0]).__dataclass_fields__)


def test_a_shown_table_as_csv_and_json():
    table = FigureTable("Caption", ("Appliance", "Power"), (("=Evil", "838 ± 20 W"),))

    assert read(table_csv(table)) == [["Appliance", "Power"], ["'=Evil", "838 ± 20 W"]]
    assert json.loads(table_json(table)) == {
        "licence": {"name": "CC BY 4.0", "url": "https://creativecommons.org/licenses/by/4.0/"},
        "data": {"caption": "Caption", "rows": [{"Appliance": "=Evil", "Power": "838 ± 20 W"}]},
    }
