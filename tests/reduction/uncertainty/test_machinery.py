"""Components, budgets, decisions, and the adaptive rule."""

import math
import subprocess
import sys

import numpy as np
import pytest

from server.model.bench import Instrument, Rig
from server.model.words import Channel
from server.reduction.uncertainty.budget import combined, improve_first, make_budget
from server.reduction.uncertainty.components import (
    Component,
    Distribution,
    instrument_errors,
    rig_errors,
)
from server.reduction.uncertainty.conformity import decide
from server.reduction.uncertainty.monte_carlo import draw_adaptively, seed_of
from server.reduction.uncertainty.propagate import coverage_factor, propagate, welch_satterthwaite


def test_each_part_of_a_statement_is_a_component_of_its_own() -> None:
    meter = Instrument(
        Channel.VOLTAGE, of_reading=0.0005, range=200.0, of_range=0.0002, digits=3, resolution=0.01
    )
    errors = instrument_errors(meter)
    assert errors.u_gain == pytest.approx(0.0005 / math.sqrt(3))
    assert [c.name for c in errors.offset] == ["voltage: % of range", "voltage: digits"]
    assert [c.standard_uncertainty for c in errors.offset] == pytest.approx(
        [0.04 / math.sqrt(3), 0.03 / math.sqrt(3)]
    )
    assert errors.resolution is not None
    assert errors.resolution.standard_uncertainty == pytest.approx(0.01 / math.sqrt(12))
    assert {c.distribution for c in errors.offset} == {Distribution.RECTANGULAR}


def test_a_certificate_is_divided_by_its_coverage_factor() -> None:
    cell = Instrument(Channel.FORCE, of_reading=0.004, distribution="normal", coverage_factor=2.0)
    (gain,) = instrument_errors(cell).gain
    assert gain.standard_uncertainty == pytest.approx(0.002)
    assert gain.distribution is Distribution.NORMAL


def test_a_rig_that_states_nothing_has_no_components() -> None:
    errors = rig_errors(Rig(instruments=(Instrument(Channel.SPEED),)))
    assert errors.arm is errors.inertia is errors.drag is None
    assert errors.of(Channel.SPEED).gain == ()
    assert errors.of(Channel.SPEED).u_offset == 0.0
    assert errors.of(Channel.POWER).resolution is None


def test_stated_standard_uncertainties_of_the_rig_are_taken_as_they_are() -> None:
    errors = rig_errors(
        Rig(arm_uncertainty_rel=0.003, inertia_uncertainty_rel=0.05, drag_uncertainty_rel=0.1)
    )
    found = [c.standard_uncertainty for c in (errors.arm, errors.inertia, errors.drag) if c]
    assert found == [0.003, 0.05, 0.1]


def test_a_budget_adds_up_and_names_what_to_improve_first() -> None:
    components = [Component("small", 0.1), Component("large", 2.0), Component("nothing", 5.0)]
    lines = make_budget(components, [10.0, -1.0, 0.0])
    assert [line.component for line in lines] == ["large", "small"]
    assert sum(line.share for line in lines) == pytest.approx(1.0)
    assert lines[0].share == pytest.approx(0.8)
    u, _ = combined(components, [10.0, -1.0, 0.0])
    assert u == pytest.approx(math.sqrt(5))
    first = improve_first(lines)
    assert first is not None
    assert first[0] == "large"
    assert first[1] == pytest.approx(math.sqrt(0.2 + 0.8 / 4))
    assert improve_first(()) is None
    assert make_budget([], []) == ()


@pytest.mark.parametrize(
    ("value", "verdict"),
    [(1000.0, "not supported"), (1164.0, "not supported"), (1166.0, "not decided"),
     (1200.0, "not decided"), (1234.0, "not decided"), (1236.0, "supported")],
)  # fmt: skip
def test_verdicts_change_a_guard_band_of_1_645_u_from_the_claim(value: float, verdict: str) -> None:
    decision = decide(value, 21.5, claimed=1200.0)
    assert decision.verdict == verdict
    assert decision.guard_band == pytest.approx(35.36, abs=0.01)


def test_a_least_value_is_never_called_not_supported() -> None:
    assert decide(500.0, 5.0, claimed=1000.0, lower_bound=True).verdict == "not decided"
    assert decide(1500.0, 5.0, claimed=1000.0, lower_bound=True).verdict == "supported"


def test_the_same_seed_gives_the_same_result_and_another_a_different_one() -> None:
    def model(rng: np.random.Generator, n: int) -> np.ndarray:
        return np.stack([rng.standard_normal(n), 3 * rng.uniform(size=n)])

    one, same, other = (draw_adaptively(model, seed=seed_of(t)) for t in ("a", "a", "b"))
    assert np.array_equal(one.low, same.low)
    assert not np.array_equal(one.low, other.low)
    assert one.n_draws >= 20_000


def test_drawing_goes_on_until_two_digits_stand_or_says_that_they_do_not() -> None:
    def model(rng: np.random.Generator, n: int) -> np.ndarray:
        return 0.99 * rng.standard_normal((1, n))

    capped = draw_adaptively(model, seed=1, max_blocks=3)
    assert not capped.is_settled.all()
    assert capped.n_draws == 30_000
    full = draw_adaptively(model, seed=1)
    assert full.is_settled.all()
    assert full.n_draws > 100_000
    assert full.high[0] == pytest.approx(0.99 * 1.95996, abs=0.01)


def test_a_constant_output_is_settled_at_once() -> None:
    drawn = draw_adaptively(lambda _, n: np.full((1, n), 7.0), seed=1)
    assert drawn.n_draws == 20_000
    assert drawn.low[0] == drawn.high[0] == 7.0
    assert drawn.standard_uncertainty[0] == 0.0


def test_without_finite_degrees_of_freedom_the_factor_is_the_normal_one() -> None:
    assert welch_satterthwaite([1.0, 2.0], [math.inf, math.inf]) == math.inf
    assert coverage_factor(math.inf) == pytest.approx(1.959964, abs=1e-6)
    assert coverage_factor(10.9) == pytest.approx(2.228, abs=1e-3)
    assert welch_satterthwaite([0.57, 0.25], [9, math.inf]) == pytest.approx(12.7956, abs=1e-3)


def test_an_input_without_uncertainty_contributes_nothing() -> None:
    result = propagate(lambda x: x[:1] * x[1:], np.array([3.0, 4.0]), np.diag([0.01, 0.0]))
    assert result.standard_uncertainty == pytest.approx([0.4])
    assert result.sensitivity[0] == pytest.approx([4.0, 0.0])


def test_decisions_load_no_numerics() -> None:
    code = "import sys, server.reduction.uncertainty.conformity; print('numpy' in sys.modules)"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "False"
