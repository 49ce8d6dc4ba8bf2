""" "Clearly most" stands only where the difference is larger than its uncertainty."""

import pytest

from server.model.measured import Measured, Metric
from server.model.words import MetricName
from server.wording.comparison import (
    clearly_most,
    clearly_most_ratio,
    is_clearly_more,
    order_sentence,
    side_by_side_title,
)

HIGHEST = MetricName.SHAFT_POWER_MAX_STEADY


def metric(value, u=10.0, lower_bound=False):
    return Metric(HIGHEST, value, u, lower_bound)


def test_the_difference_must_exceed_its_expanded_uncertainty():
    # u of the difference: sqrt(3² + 4²) = 5, expanded 10
    assert is_clearly_more(Measured(110.1, 3.0), Measured(100.0, 4.0))
    assert not is_clearly_more(Measured(110.0, 3.0), Measured(100.0, 4.0))
    assert not is_clearly_more(Measured(200.0, None), Measured(100.0, 4.0))


@pytest.mark.parametrize(
    ("metrics", "expected"),
    [
        ([metric(800), metric(900), metric(700)], 1),
        ([metric(890), metric(900), metric(700)], None),
        ([metric(800), None], None),
        ([metric(800), metric(900), None], 1),
        ([metric(800, lower_bound=True), metric(900)], None),
        ([metric(800), metric(900, lower_bound=True)], 1),
        ([metric(800, u=None), metric(900)], None),
        ([], None),
        ([Metric.missing(HIGHEST, "x"), metric(900)], None),
    ],
)
def test_clearly_most(metrics, expected):
    assert clearly_most(metrics) == expected


def test_ratios_are_compared_the_same_way():
    assert clearly_most_ratio([Measured(0.15, 0.002), Measured(0.28, 0.003), None]) == 1
    assert clearly_most_ratio([Measured(0.27, 0.02), Measured(0.28, 0.02)]) is None
    assert clearly_most_ratio([None, Measured(0.28, 0.02)]) is None


def test_the_order_is_said_only_when_it_is_certain():
    names = ["Tollan Shed 40", "Quarrow 20"]
    reverse = order_sentence(names, [4474.0, 1864.0], [metric(700), metric(900)])
    assert reverse == (
        "The largest printed figure is Tollan Shed 40’s; the most at the shaft is clearly "
        "Quarrow 20’s."
    )
    same = order_sentence(names, [4474.0, 1864.0], [metric(900), metric(700)])
    assert same == "The largest printed figure and the most at the shaft are both Tollan Shed 40’s."
    assert order_sentence(names, [4474.0, 1864.0], [metric(895), metric(900)]) is None
    assert order_sentence(names, [4474.0, None], [metric(700), metric(900)]) is None
    assert order_sentence(names, [4474.0, 4474.0], [metric(700), metric(900)]) is None


def test_titles():
    vacuum = "wet/dry vacuum"
    assert side_by_side_title([vacuum] * 3) == "Three wet/dry vacuums, side by side"
    assert side_by_side_title([vacuum, "router"]) == "Two appliances, side by side"
