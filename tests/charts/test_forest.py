"""Testers side by side: rows, intervals, the pooled figure, and what stands out."""

from xml.etree import ElementTree

import pytest

from server.charts import (
    NARROW,
    WIDE,
    ForestRow,
    figure_plotly,
    figure_svg,
    figure_table,
    forest_of_testers,
)
from server.charts.figure import Mark
from server.model.pooled import BenchResult
from server.model.words import MetricName
from server.reduction.pooling import pool

POWER = MetricName.SHAFT_POWER_MAX_STEADY
FIVE = [
    BenchResult("Halden", 838.0, 8.0),
    BenchResult("Oskby", 846.0, 6.0),
    BenchResult("Pellworm Bench", 829.0, 9.0),
    BenchResult("Tarn Works", 905.0, 7.0),
    BenchResult("Vey", 841.0, 5.0),
]


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_a_row_for_each_tester_and_the_pooled_figure_below():
    pooling = pool(FIVE)
    spec = forest_of_testers(
        pooling, metric=POWER, si_unit="W", address=lambda t: f"/testers/{t.tester}"
    )
    panel = spec.panels[0]
    assert [row.label for row in panel.rows] == [r.tester for r in FIVE] + ["Pooled"]
    first, last = panel.rows[0], panel.rows[-1]
    assert (first.marks[0].low, first.marks[0].high) == (822.0, 854.0)
    assert first.marks[0].mark is Mark.SHAFT
    assert plain(first.value) == "838 ± 16 W"
    assert first.href == "/testers/Halden"
    assert (last.marks[0].low, last.marks[0].high) == (pooling.pooled.low, pooling.pooled.high)
    assert last.note == "5 testers"
    assert panel.rows[3].note == "1 run, stands apart"
    assert "Tarn Works" in spec.notes[0]
    assert "disagree" in spec.sentence
    ends = [e for row in panel.rows for m in row.marks for e in (m.low, m.high)]
    assert panel.axis.low <= min(ends)
    assert panel.axis.high >= max(ends)
    assert panel.axis.low > 700, "dots need no zero"


def test_runs_as_rows_in_shown_units():
    rows = [ForestRow("Halden, 3 May", 2100.0, 10.0), ForestRow("Oskby, 5 May", 2050.0)]
    pooling = pool([BenchResult("Halden", 2100.0, 10.0), BenchResult("Oskby", 2050.0, 12.0)])
    spec = forest_of_testers(
        pooling, metric=MetricName.FREE_SPEED, si_unit="rad/s", rows=rows, printed_si=2200.0
    )
    panel = spec.panels[0]
    assert panel.rows[0].marks[0].value == pytest.approx(2100 * 9.549296585513721)
    assert panel.rows[1].marks[0].low is None
    assert panel.rules[0].mark is Mark.PRINTED
    assert panel.axis.unit == "r/min"
    assert "Two testers tell little" in spec.sentence


def test_from_the_wall_has_the_open_diamond():
    spec = forest_of_testers(
        pool(FIVE), metric=MetricName.INPUT_POWER_AT_MAX_STEADY_POWER, si_unit="W"
    )
    assert {m.mark for row in spec.panels[0].rows for m in row.marks} == {Mark.WALL}
    assert spec.key[0].mark is Mark.WALL


def test_one_tester_has_no_pooled_row():
    spec = forest_of_testers(pool(FIVE[:1]), metric=POWER, si_unit="W")
    assert len(spec.panels[0].rows) == 1
    assert "nothing to pool yet" in spec.sentence
    assert len(figure_table(spec).rows) == 1


def test_the_table_says_what_the_picture_shows():
    table = figure_table(forest_of_testers(pool(FIVE), metric=POWER, si_unit="W"))
    assert [plain(c) for c in table.rows[3]] == [
        "Tarn Works", "1", "905 ± 14 W", "1.75", "–", "stands apart",
    ]  # fmt: skip
    assert table.rows[-1][0] == "Pooled"
    assert all(len(row) == len(table.headers) for row in table.rows)


@pytest.mark.parametrize("width", [NARROW, WIDE])
@pytest.mark.parametrize("n", [1, 2, 5])
def test_it_is_drawn_within_its_width(n, width):
    spec = forest_of_testers(pool(FIVE[:n]), metric=POWER, si_unit="W")
    root = ElementTree.fromstring(figure_svg(spec, width=width))
    texts = [e for e in root.iter() if e.tag.endswith("text")]
    assert any("Halden" in "".join(e.itertext()) for e in texts)
    assert all(0 <= float(e.get("x", 0)) <= width for e in texts)
    data = figure_plotly(spec)["data"]
    assert sum(len(trace["x"]) for trace in data) == n + (n > 1)
