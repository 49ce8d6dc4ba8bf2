"""Every figure of a brake run with its uncertainty: budgets, intervals, seeds, and coverage."""

import math
from dataclasses import replace

import numpy as np
import pytest

from server.model.bench import Instrument, Rig
from server.model.measured import Metric
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, FindingCode, MetricName, MotorFamily, RunKind
from server.reduction import reduce_run
from server.reduction.uncertainty.brake_figures import seed_of_input
from server.reduction.uncertainty.judge_figures import judge_figures
from server.reduction.uncertainty.point_table import PointTable
from server.reduction.uncertainty.run_errors import RunErrors
from server.reduction.uncertainty.run_model import RunModel
from server.wording.contract import metric_to_json
from server.wording.findings import finding_text
from tests.reduction.simulate import Case, permanent_magnet, simulate, universal
from tests.simulated.coverage import Trial, coverage, trials

M = MetricName
TRIAL: Trial = next(iter(trials(1, seed=5)))


def reduced(trial: Trial, rig: Rig | None = None) -> Reduction:
    return reduce_run(
        trial.recording,
        kind=RunKind.BRAKE,
        plate=trial.plate,
        rig=rig or trial.rig,
        options=ReductionOptions(),
    )


@pytest.fixture(scope="module")
def figures() -> dict[MetricName, Metric]:
    return {n: m for n, m in reduced(TRIAL).metrics.items() if m.value is not None}


def test_every_figure_has_an_interval_around_it_and_a_budget_that_adds_up(
    figures: dict[MetricName, Metric],
) -> None:
    assert len(figures) >= 18
    for name, metric in figures.items():
        assert metric.method in ("gum", "monte carlo"), name
        assert metric.interval_low is not None, name
        assert metric.interval_high is not None, name
        assert metric.interval_low < metric.value <= metric.interval_high, name
        assert sum(line.share for line in metric.budget) == pytest.approx(1.0, abs=1e-3), name
        shares = [line.share for line in metric.budget]
        assert shares == sorted(shares, reverse=True), name
        u = math.hypot(*(line.contribution for line in metric.budget))
        # Shares are first order; a drawn uncertainty may differ.
        rel = 1e-6 if metric.method == "gum" else 0.25
        assert u == pytest.approx(metric.standard_uncertainty, rel=rel), name


def test_the_json_of_a_figure_has_the_words_of_the_contract(
    figures: dict[MetricName, Metric],
) -> None:
    power = metric_to_json(figures[M.SHAFT_POWER_MAX_STEADY])
    assert power["interval"]["coverage"] == 0.95
    assert set(power["budget"][0]) == {
        "component", "standard_uncertainty", "distribution", "sensitivity", "share",
    }  # fmt: skip
    assert power["method"] in ("gum", "monte carlo")
    empty = metric_to_json(Metric.missing(M.FREE_SPEED, "no free-running stretch in the run"))
    assert empty["interval"] is None
    assert empty["budget"] == []
    assert empty["method"] is None


def test_the_same_input_gives_the_same_intervals(figures: dict[MetricName, Metric]) -> None:
    again = reduced(TRIAL).metrics
    assert {n: again[n] for n in figures} == figures


def test_the_seed_is_the_input_and_names_are_no_input() -> None:
    def seed(**changes: object) -> int:
        return seed_of_input(
            TRIAL.recording,
            plate=TRIAL.plate,
            rig=replace(TRIAL.rig, **changes),
            options=ReductionOptions(),
        )

    assert seed() == seed(name="another name")
    assert seed() != seed(arm_uncertainty_rel=0.005)


def test_arm_gain_and_drag_are_in_the_power_and_not_in_the_speed(
    figures: dict[MetricName, Metric],
) -> None:
    power = {line.component for line in figures[M.SHAFT_POWER_MAX_STEADY].budget}
    assert {"arm length", "force: % of reading", "drag before the sensor"} <= power
    speed = {line.component for line in figures[M.FREE_SPEED].budget}
    assert "arm length" not in speed
    assert "speed: % of reading" in speed


def test_an_offset_of_the_torque_sensor_goes_with_its_zero() -> None:
    offset = Instrument(Channel.TORQUE, range=1.0, of_range=0.01)
    found = []
    for has_idle in (True, False):
        run = simulate(
            Case(permanent_magnet(), n_dwells=10, has_idle=has_idle, has_start=has_idle, seed=4)
        )
        metric = reduce_run(
            run.recording,
            kind=RunKind.BRAKE,
            plate=run.plate,
            rig=replace(run.rig, instruments=(offset,)),
            options=ReductionOptions(),
        ).metrics[M.SHAFT_POWER_MAX_STEADY]
        found.append({line.component for line in metric.budget})
    assert "torque: % of range" not in found[0]
    assert "torque zero: scatter" in found[0]
    assert "torque: % of range" in found[1]


def test_a_larger_arm_error_widens_power_and_efficiency_as_it_must() -> None:
    wide = reduced(TRIAL, replace(TRIAL.rig, arm_uncertainty_rel=0.02)).metrics
    narrow = reduced(TRIAL, replace(TRIAL.rig, arm_uncertainty_rel=None)).metrics
    for name in (M.SHAFT_POWER_MAX_STEADY, M.EFFICIENCY_AT_MAX_STEADY_POWER):
        assert wide[name].value == narrow[name].value
        added = math.sqrt(
            wide[name].standard_uncertainty ** 2 - narrow[name].standard_uncertainty ** 2
        )
        # The arm is in the brake's part alone; some four per cent more are drag.
        assert added == pytest.approx(0.02 * wide[name].value, rel=0.08)


def test_one_wide_limit_makes_the_interval_a_drawn_one_and_the_finding_says_so() -> None:
    run = simulate(Case(universal(), n_dwells=12, seed=6))
    result = reduce_run(
        run.recording,
        kind=RunKind.BRAKE,
        plate=run.plate,
        rig=replace(run.rig, instruments=(Instrument(Channel.TORQUE, of_reading=0.05),)),
        options=ReductionOptions(),
    )
    power = result.metrics[M.SHAFT_POWER_MAX_STEADY]
    assert power.method == "monte carlo"
    half = (power.interval_high - power.interval_low) / 2
    # 95 % of a rectangle of half-width 5 %.
    assert half == pytest.approx(0.95 * 0.05 * power.value, rel=0.03)
    (finding,) = [f for f in result.findings if f.code is FindingCode.INTERVAL_DRAWN]
    message = finding_text(finding).message
    assert "torque: % of reading" in message
    drawn = [one["figure"] for one in finding.evidence["figures"]]
    assert M.SHAFT_POWER_MAX_STEADY.value in drawn
    assert f"{len(drawn)} figures" in message


def equal_dwells(power: np.ndarray, u: float) -> RunModel:
    n = power.size
    table = PointTable(
        torque=power / 100.0,
        speed=np.full(n, 100.0),
        brake_power=power,
        drag_power=np.zeros(n),
        inertia_power=np.zeros(n),
        voltage=None,
        current=None,
        input_power=None,
        power_factor=None,
        is_input_metered=True,
        is_apparent_metered=True,
        u={q: np.full(n, u if q == "power" else 0.0)
           for q in ("power", "speed", "current", "input", "power factor")},
        n_effective=np.full(n, 50.0),
    )  # fmt: skip
    errors = RunErrors((), (), Channel.TORQUE, 1.0)
    smooth = dict(enumerate(np.full(n, power.mean()).tolist()))
    return RunModel(errors, table, None, dwells=tuple(range(n)), power_by_line=smooth)


def test_the_best_of_several_equal_dwells_is_biased_and_its_interval_allows_for_it() -> None:
    rng = np.random.default_rng(7)
    name, n_covered, bias, n = M.SHAFT_POWER_BEST_DWELL, 0, [], 150
    for seed in range(n):
        power = 500.0 + rng.normal(0, 1.0, 8)
        best = float(power.max())
        judged = judge_figures(equal_dwells(power, 1.0), {name: best}, seed=seed, max_blocks=2)
        one = judged[name]
        n_covered += one.low <= 500.0 <= one.high
        bias.append(one.bias)
    # The expected highest of eight standard normal numbers is 1.4236.
    assert np.mean(bias) == pytest.approx(1.4236, abs=0.05)
    assert n_covered >= 0.95 * n


def test_a_vertex_of_a_noisy_fit_is_biased_upwards_and_the_draws_show_it() -> None:
    run = simulate(
        Case(permanent_magnet(), lowest_speed_share=0.3, n_dwells=8, dwell_s=0.8,
             torque_noise=0.2, seed=3)
    )  # fmt: skip
    power = reduce_run(
        run.recording,
        kind=RunKind.BRAKE,
        plate=replace(run.plate, motor_family=MotorFamily.UNKNOWN),
        rig=run.rig,
        options=ReductionOptions(),
    ).metrics[M.SHAFT_POWER_MAX_STEADY]
    lines = {line.component: line for line in power.budget}
    assert "highest of several noisy values" in lines
    assert power.interval_low <= run.truth["power"] <= power.interval_high


def test_intervals_cover_the_truth_of_simulated_runs() -> None:
    """A small edition of `python -m tests.simulated.coverage --runs 1000`."""
    found = coverage(20, seed=2026)
    covered = [o.is_covered for outcomes in found.values() for o in outcomes]
    assert len(covered) > 180
    assert 0.88 <= np.mean(covered) <= 0.99
