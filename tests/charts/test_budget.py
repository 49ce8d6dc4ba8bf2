"""The budget of one figure as bars and as a table."""

from xml.etree import ElementTree

import pytest

from server.charts import NARROW, WIDE, figure_svg, figure_table, uncertainty_budget
from server.charts.budget import MOST_BARS, TOGETHER
from server.model.budget import BudgetLine
from server.model.measured import Metric
from server.model.words import MetricName
from server.wording.budget import (
    basis_sentence,
    bias_sentence,
    improve_sentence,
    interval_sentence,
    made_by_sentence,
    scientific,
    show_part,
)

POWER = MetricName.SHAFT_POWER_MAX_STEADY
LINES = (
    BudgetLine("scatter of the readings", 3.0, "normal", 1.0, 9.0 / 25.0),
    BudgetLine("torque: % of reading", 0.005, "rectangular", 800.0, 16.0 / 25.0),
)
METRIC = Metric(
    POWER,
    800.0,
    5.0,
    interval_low=790.1,
    interval_high=809.9,
    degrees_of_freedom=23.4,
    method="gum",
    budget=LINES,
)


def plain(text):
    return text.replace("\u00a0", " ").replace("\u202f", " ")


def test_a_bar_for_each_component_the_largest_first_and_all_together_last():
    panel = uncertainty_budget(METRIC).panels[0]
    labels = [row.label for row in panel.rows]
    assert labels == ["torque: % of reading", "scatter of the readings", TOGETHER]
    assert [row.marks[0].high for row in panel.rows] == pytest.approx([4.0, 3.0, 5.0])
    assert [plain(row.value) for row in panel.rows] == ["64 %", "36 %", "5.00 W"]
    assert panel.axis.unit == "W"
    assert panel.axis.low == 0
    assert panel.axis.high >= 5.0


def test_bars_are_in_the_unit_shown():
    line = BudgetLine("speed: % of reading", 0.001, "rectangular", 1000.0, 1.0)
    metric = Metric(MetricName.FREE_SPEED, 1000.0, 1.0, budget=(line,))
    panel = uncertainty_budget(metric).panels[0]
    assert panel.axis.unit == "r/min"
    assert panel.rows[0].marks[0].high == pytest.approx(9.549296585513721)


def test_the_table_says_size_distribution_sensitivity_and_share():
    table = figure_table(uncertainty_budget(METRIC))
    assert len(table.headers) == 6
    assert [plain(cell) for cell in table.rows[0]] == [
        "torque: % of reading", "0.500 %", "rectangular", "800", "4.0 W", "64 %",
    ]  # fmt: skip
    assert plain(table.rows[1][1]) == "3.00 W"


def test_many_components_are_all_in_the_table():
    lines = tuple(BudgetLine(f"part {i}", 1.0, "normal", 1.0, 1 / 20) for i in range(20))
    spec = uncertainty_budget(Metric(POWER, 800.0, 20**0.5, budget=lines))
    assert len(spec.panels[0].rows) == MOST_BARS + 1
    assert len(spec.table.rows) == 20
    assert "20" in spec.notes[0]


def test_without_a_budget_there_is_nothing_to_draw():
    spec = uncertainty_budget(Metric(POWER, 800.0, 5.0))
    assert spec.panels == ()
    assert spec.empty is not None
    assert improve_sentence(Metric(POWER, 800.0)) is None


@pytest.mark.parametrize("width", [WIDE, NARROW])
def test_it_is_drawn_at_every_width(width):
    drawn = ElementTree.fromstring(figure_svg(uncertainty_budget(METRIC), width=width))
    words = "".join(drawn.itertext())
    assert "torque: % of reading" in words
    assert TOGETHER in words


def test_interval_and_basis_are_said_in_the_unit_shown():
    assert plain(interval_sentence(METRIC)) == "95 % interval: 790 W to 810 W."
    assert "Standard uncertainty 5.00 W, with 23 degrees" in plain(basis_sentence(METRIC))
    assert "JCGM 100" in made_by_sentence(METRIC)
    bound = Metric(POWER, 8.0, 1.0, True, None, 6.0, 10.0, method="monte carlo")
    assert interval_sentence(bound).endswith("The true figure may be higher.")
    assert "more than 1 000 degrees" in plain(basis_sentence(bound))
    assert "JCGM 101" in made_by_sentence(bound)
    assert interval_sentence(Metric(POWER, 8.0, 1.0)) is None
    assert made_by_sentence(Metric(POWER, 8.0, 1.0)) is None


def test_an_interval_below_the_figure_says_why():
    assert bias_sentence(METRIC) is None
    assert bias_sentence(Metric(POWER, 800.0)) is None
    low = Metric(POWER, 1150.0, 26.0, interval_low=1110.0, interval_high=1152.0)
    assert "too high on average" in bias_sentence(low)


def test_what_to_improve_first_is_the_largest():
    words = plain(improve_sentence(METRIC))
    assert "torque: % of reading" in words
    assert "28 % smaller" in words


@pytest.mark.parametrize(
    ("value", "expected"),
    [(0.0, "0"), (0.5, "0.500"), (2.5e-5, "2.50 × 10⁻⁵"), (-3e7, "−3.00 × 10⁷")],
)
def test_tiny_and_huge_figures_have_a_power_of_ten(value, expected):
    assert plain(scientific(value)) == expected


def test_shares_are_short():
    assert [plain(show_part(s)) for s in (0.62, 0.05, 0.0004)] == ["62 %", "5.0 %", "under 0.1 %"]
