"""How sure it is which appliance stands highest."""

import pytest

from server.actions.pool_appliance import pool_runs
from server.actions.rank_appliances import chance_of_highest
from server.model.pooled import MetricPooling
from tests.actions.test_pool_appliance import STEADY, run, steady


def pooled(*figures: float, u: float = 5.0, is_bound: bool = False) -> MetricPooling:
    runs = [run(f"Tester {i}", steady(x, u, is_bound=is_bound)) for i, x in enumerate(figures)]
    return pool_runs(runs, metric=STEADY)


def test_equal_figures_share_the_chance_and_a_clear_one_has_it() -> None:
    even = chance_of_highest({"a": pooled(640.0), "b": pooled(640.0)})
    assert even["a"] == pytest.approx(0.5, abs=0.02)
    assert sum(even.values()) == pytest.approx(1.0)
    clear = chance_of_highest({"a": pooled(640.0), "b": pooled(840.0)})
    assert clear["b"] > 0.999


def test_a_difference_of_one_deviation_has_its_normal_chance() -> None:
    # Difference 5 sqrt(2), standard uncertainty 5 sqrt(2): the normal distribution's 0.8413 at 1.
    found = chance_of_highest({"a": pooled(640.0), "b": pooled(640.0 + 5 * 2**0.5)})
    assert found["b"] == pytest.approx(0.8413, abs=0.015)


def test_two_testers_are_less_sure_than_their_uncertainty_says() -> None:
    single = chance_of_highest({"a": pooled(640.0, u=4.0), "b": pooled(660.0, u=4.0)})
    paired = chance_of_highest({"a": pooled(640.0, 640.5, u=4.0), "b": pooled(660.0, 660.5, u=4.0)})
    assert 0.5 < paired["b"] < single["b"]


def test_the_order_asked_for_changes_nothing() -> None:
    figures = {"a": pooled(640.0), "b": pooled(645.0), "c": pooled(650.0, 652.0)}
    backwards = dict(reversed(figures.items()))
    assert chance_of_highest(figures) == chance_of_highest(backwards)


def test_what_is_only_at_least_is_not_ranked() -> None:
    bound = pooled(900.0, is_bound=True)
    assert chance_of_highest({"a": pooled(640.0), "b": bound}) == {}
    ranked = chance_of_highest({"a": pooled(640.0), "b": bound, "c": pooled(650.0)})
    assert set(ranked) == {"a", "c"}
