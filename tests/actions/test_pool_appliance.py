"""Runs pooled figure by figure: what counts, what is left out and why, what testers share."""

from math import sqrt

import pytest

from server.actions.pool_appliance import (
    LOWER_BOUND,
    NO_FIGURE,
    NO_UNCERTAINTY,
    PEAK_NOT_REACHED,
    pool_runs,
)
from server.model.budget import SCATTER, BudgetLine
from server.model.measured import Metric
from server.model.pooled import Level, PublishedRun
from server.model.words import MetricName
from server.reduction import first_order
from server.reduction.uncertainty import judge_figures

STEADY = MetricName.SHAFT_POWER_MAX_STEADY
MOMENTARY = MetricName.SHAFT_POWER_MAX_MOMENTARY


def run(
    tester: str,
    *metrics: Metric,
    number: int = 1,
    tester_id: str | None = None,
    instruments: dict[str, str] | None = None,
) -> PublishedRun:
    return PublishedRun(
        public_id=f"{tester}-{number}",
        tester=tester,
        tester_id=tester_id or tester,
        specimen_id=f"piece of {tester}",
        specimen="A",
        condition=None,
        tested_on=None,
        instruments=instruments or {},
        metrics={metric.name: metric for metric in metrics},
    )


def steady(value: float, u: float | None = 5.0, *, scatter: float = 0.0, gain: float = 0.0,
           is_bound: bool = False) -> Metric:  # fmt: skip
    lines = []
    if scatter or gain:
        lines = [
            BudgetLine(SCATTER, 1.0, "normal", 1.0, scatter),
            BudgetLine("torque: % of reading", 0.002, "rectangular", value, gain),
        ]
    return Metric(STEADY, value, u, lower_bound=is_bound, budget=tuple(lines))


def test_testers_are_pooled_and_those_who_disagree_are_flagged() -> None:
    runs = [run("Ada", steady(640.0)), run("Ada", steady(642.0), number=2),
            run("Bo", steady(700.0))]  # fmt: skip
    found = pool_runs(runs, metric=STEADY)
    assert found.pooling is not None
    assert (found.pooling.n_testers, found.pooling.n_results) == (2, 3)
    assert [t.is_zeta_flagged for t in found.pooling.testers] == [True, True]
    assert found.left_out == ()
    assert found.unit == "W"


def test_one_run_alone_is_one_run() -> None:
    found = pool_runs([run("Ada", steady(640.0, 5.0))], metric=STEADY)
    assert found.pooling is not None
    figure = found.pooling.pooled
    assert (figure.value, figure.standard_uncertainty) == (640.0, 5.0)
    assert (figure.low, figure.high) == (None, None)


def test_what_is_no_value_is_left_out_with_its_reason() -> None:
    runs = [
        run("Ada", steady(640.0)),
        run("Bo", steady(690.0, is_bound=True)),
        run("Cy", Metric.missing(STEADY, "the load never rose")),
        run("Di"),
        run("Ed", steady(641.0, None)),
    ]
    found = pool_runs(runs, metric=STEADY)
    assert {one.run.tester: one.reason for one in found.left_out} == {
        "Bo": LOWER_BOUND, "Cy": "the load never rose", "Di": NO_FIGURE, "Ed": NO_UNCERTAINTY,
    }  # fmt: skip
    assert [one.tester for one in found.runs] == ["Ada"]
    assert pool_runs(runs[1:4], metric=STEADY).pooling is None


def test_figures_without_any_uncertainty_are_pooled_by_their_spread() -> None:
    runs = [run("Ada", steady(640.0, None)), run("Bo", steady(650.0, 0.0))]
    found = pool_runs(runs, metric=STEADY)
    assert found.pooling is not None
    assert found.pooling.pooled.value == 645.0
    assert found.left_out == ()


def test_the_highest_moment_of_a_run_that_stopped_before_its_peak_is_no_value() -> None:
    moment = Metric(MOMENTARY, 600.0, 5.0)
    runs = [run("Ada", moment, steady(640.0)), run("Bo", moment, steady(500.0, is_bound=True))]
    found = pool_runs(runs, metric=MOMENTARY)
    assert [one.tester for one in found.runs] == ["Ada"]
    assert [one.reason for one in found.left_out] == [PEAK_NOT_REACHED]


def test_testers_of_one_name_are_told_apart() -> None:
    runs = [run("Ada", steady(640.0), tester_id="t1"), run("Ada", steady(650.0), tester_id="t2")]
    found = pool_runs(runs, metric=STEADY)
    assert found.pooling is not None
    assert [t.tester for t in found.pooling.testers] == ["Ada (t1)", "Ada (t2)"]


def test_scatter_within_runs_comes_from_the_budgets() -> None:
    runs = [run(name, steady(640.0 + i, 5.0, scatter=0.36, gain=0.64))
            for i, name in enumerate(("Ada", "Bo"))]  # fmt: skip
    found = pool_runs(runs, metric=STEADY)
    assert found.pooling is not None
    within = next(c for c in found.pooling.components if c.level is Level.READING)
    assert within.sd == pytest.approx(3.0)


def test_an_instrument_that_all_share_is_not_averaged_away() -> None:
    lent = {"torque": "Sensor 7"}
    figures = [
        steady(640.0, 5.0, scatter=0.36, gain=0.64),
        steady(642.0, 6.0, scatter=0.5, gain=0.5),
    ]
    runs = [run("Ada", figures[0], instruments=lent),
            run("Bo", figures[1], instruments={"torque": "sensor 7"})]  # fmt: skip
    shared = pool_runs(runs, metric=STEADY)
    own = pool_runs(
        [run("Ada", figures[0], instruments=lent), run("Bo", figures[1])], metric=STEADY
    )
    assert shared.shared_uncertainty == pytest.approx(min(5 * 0.8, 6 * sqrt(0.5)))
    assert own.shared_uncertainty == 0.0
    assert pool_runs(runs[:1], metric=STEADY).shared_uncertainty == 0.0
    assert shared.pooling is not None
    assert shared.pooling.pooled.standard_uncertainty is not None
    assert shared.pooling.pooled.standard_uncertainty > shared.shared_uncertainty


def test_the_line_of_scatter_has_one_name() -> None:
    assert first_order.SCATTER == judge_figures.SCATTER == SCATTER
