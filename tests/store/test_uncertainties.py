"""Intervals and budgets go into a set's one column and come out the same."""

import json

from server.model.budget import BudgetLine
from server.model.measured import Metric
from server.model.words import MetricName
from server.store.shapes import uncertainties_value, with_uncertainty

POWER = Metric(
    MetricName.SHAFT_POWER_MAX_STEADY,
    640.0,
    7.2,
    interval_low=626.0,
    interval_high=654.5,
    degrees_of_freedom=38.5,
    method="gum",
    budget=(
        BudgetLine("arm length", 0.004, "normal", 640.0, 0.126),
        BudgetLine("torque: % of reading", 0.0029, "rectangular", -640.0, 0.066),
    ),
)


def test_a_stored_interval_and_budget_come_back_as_they_were() -> None:
    stored = json.loads(json.dumps(uncertainties_value({POWER.name: POWER})))
    bare = Metric(POWER.name, POWER.value, POWER.standard_uncertainty)
    assert with_uncertainty(bare, stored[POWER.name.value]) == POWER


def test_a_figure_of_an_older_method_has_neither() -> None:
    bare = Metric(POWER.name, POWER.value, POWER.standard_uncertainty)
    assert uncertainties_value({bare.name: bare}) == {}
    assert with_uncertainty(bare, None) == bare
