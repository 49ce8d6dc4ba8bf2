"""The interactive figures: plain lists, valid, with a role on every mark."""

import json

import orjson
import plotly.graph_objects as go
import pytest

from server.charts import figure_plotly
from tests.charts.test_svg import FIGURES

ROLES = {"measured", "wall", "printed", "limit", "loss"} | {f"series-{i}" for i in range(1, 7)}


def plain_types(value):
    if isinstance(value, dict):
        return all(isinstance(k, str) and plain_types(v) for k, v in value.items())
    if isinstance(value, list):
        return all(plain_types(v) for v in value)
    return value is None or isinstance(value, bool | int | float | str)


@pytest.mark.parametrize("name", FIGURES)
def test_plotly_accepts_it(name):
    figure = figure_plotly(FIGURES[name])
    checked = go.Figure(data=figure["data"], layout=figure["layout"])
    assert len(checked.data) == len(figure["data"])


@pytest.mark.parametrize("name", FIGURES)
def test_it_is_made_of_plain_lists(name):
    figure = figure_plotly(FIGURES[name])
    assert plain_types(figure)
    assert json.loads(orjson.dumps(figure)) == figure


@pytest.mark.parametrize("name", FIGURES)
def test_every_mark_has_a_role_and_no_colour(name):
    figure = figure_plotly(FIGURES[name])

    assert all(trace["meta"]["role"] in ROLES for trace in figure["data"])
    assert all(shape["name"] in ROLES | {"steady"} for shape in figure["layout"]["shapes"])
    assert b"#" not in orjson.dumps(figure["data"])


@pytest.mark.parametrize("name", FIGURES)
def test_only_traces_of_the_basic_bundle(name):
    figure = figure_plotly(FIGURES[name])
    assert {trace["type"] for trace in figure["data"]} <= {"scatter", "bar"}


def test_both_renderers_draw_the_same_marks():
    figure = figure_plotly(FIGURES["claim"])
    values = {trace["meta"]["role"]: trace["x"] for trace in figure["data"]}

    assert values["measured"] == [574.0, 838.0, 850.0, 1350.0]
    assert values["wall"] == [954.0, 1594.0]
    assert [shape["name"] for shape in figure["layout"]["shapes"]] == ["printed", "limit"]


def test_beyond_the_data_is_dashed():
    traces = figure_plotly(FIGURES["one run"])["data"]
    dashes = {t["meta"]["part"]: t["line"].get("dash") for t in traces if "line" in t}
    assert dashes["line"] == "solid"
    assert dashes["beyond"] == "dash"
