"""Examples 9.2 to 9.4 of JCGM 101:2008. Published values where marked, else exact ones."""

import math

import numpy as np
import pytest

from server.reduction.uncertainty.components import Component, Distribution
from server.reduction.uncertainty.monte_carlo import (
    Drawn,
    draw_adaptively,
    tolerance,
    validate_first_order,
)
from server.reduction.uncertainty.propagate import propagate, second_order_variance

SEED = 101


def additive(components: list[Component], n_dig: int = 2) -> Drawn:
    def model(rng: np.random.Generator, n: int) -> np.ndarray:
        return sum(c.draw(rng, n) for c in components)[None, :]

    return draw_adaptively(model, seed=SEED, n_dig=n_dig)


def test_922_four_normal_inputs() -> None:
    drawn = additive([Component(f"x{i}", 1.0) for i in range(4)])
    assert drawn.is_settled.all()
    assert drawn.mean[0] == pytest.approx(0.0, abs=0.05)
    assert drawn.standard_uncertainty[0] == pytest.approx(2.00, abs=0.05)
    assert [drawn.low[0], drawn.high[0]] == pytest.approx([-3.92, 3.92], abs=0.07)
    assert validate_first_order(0, 2, 3.92, low=drawn.low[0], high=drawn.high[0]).is_valid


def test_923_four_rectangular_inputs_of_one_width() -> None:
    drawn = additive([Component.within(f"x{i}", math.sqrt(3)) for i in range(4)])
    exact = 2 * math.sqrt(3) * (2 - 0.6**0.25)
    assert exact == pytest.approx(3.88, abs=5e-3)
    assert drawn.standard_uncertainty[0] == pytest.approx(2.00, abs=0.05)
    assert [drawn.low[0], drawn.high[0]] == pytest.approx([-exact, exact], abs=0.07)


def test_924_one_rectangular_input_ten_times_wider_is_not_covered_by_first_order() -> None:
    widths = [1.0, 1.0, 1.0, 10.0]
    drawn = additive([Component.within(f"x{w}{i}", w * math.sqrt(3)) for i, w in enumerate(widths)])
    assert drawn.standard_uncertainty[0] == pytest.approx(10.1, abs=0.1)
    assert [drawn.low[0], drawn.high[0]] == pytest.approx([-17.0, 17.0], abs=0.3)
    u = math.sqrt(103)
    first_order = 1.95996 * u
    assert first_order == pytest.approx(19.9, abs=0.05)
    checked = validate_first_order(0, u, first_order, low=drawn.low[0], high=drawn.high[0])
    assert not checked.is_valid
    assert checked.delta == 0.5
    # With one digit the tolerance is 5, and the same interval passes.
    assert validate_first_order(
        0, u, first_order, low=drawn.low[0], high=drawn.high[0], n_dig=1
    ).is_valid


MASS = [
    (100_000.0, Component("reference", 0.050)),
    (1.234, Component("added", 0.020)),
    (1.20, Component.within("air", 0.10)),
    (8000.0, Component.within("weight", 1000.0)),
    (8000.0, Component.within("reference density", 50.0)),
]


def mass_excess(x: np.ndarray) -> np.ndarray:
    reference, added, air, weight, density = x
    return np.atleast_1d(
        (reference + added) * (1 + (air - 1.2) * (1 / weight - 1 / density)) - 100_000.0
    )


def test_93_mass_calibration() -> None:
    def model(rng: np.random.Generator, n: int) -> np.ndarray:
        return mass_excess(np.array([value + c.draw(rng, n) for value, c in MASS]))[None, :]

    drawn = draw_adaptively(model, seed=SEED, is_shortest=True)
    assert drawn.is_settled.all()
    # Published: 1.234 1, 0.075 4, [1.083 4, 1.382 5] mg.
    assert drawn.mean[0] == pytest.approx(1.2341, abs=5e-4)
    assert drawn.standard_uncertainty[0] == pytest.approx(0.0754, abs=5e-4)
    assert [drawn.low[0], drawn.high[0]] == pytest.approx([1.0834, 1.3825], abs=6e-3)


def test_93_first_order_misses_what_the_second_order_adds() -> None:
    estimate = np.array([value for value, _ in MASS])
    u = np.array([c.standard_uncertainty for _, c in MASS])
    first = propagate(mass_excess, estimate, np.diag(u**2))
    # Published: 1.234 0, 0.053 9, [1.128 5, 1.339 5]; with higher terms 0.075 0.
    assert first.value[0] == pytest.approx(1.2340, abs=5e-5)
    assert first.standard_uncertainty[0] == pytest.approx(0.053852, abs=2e-6)
    assert 1.2340 - 1.95996 * first.standard_uncertainty[0] == pytest.approx(1.1285, abs=5e-5)
    both = math.sqrt(
        first.standard_uncertainty[0] ** 2 + second_order_variance(mass_excess, estimate, u)
    )
    assert both == pytest.approx(0.0750, abs=1e-4)


# r, x1: first order y, u; exact y, u; shortest 95 % interval (50, 50, [0, 150] and so on published)
POWER_LOSS = [
    (0.0, 0.000, 0, 0, 50, 50.0, 0, 150),
    (0.0, 0.010, 100, 100, 150, 111.8, 0, 366),
    (0.0, 0.050, 2500, 500, 2550, 502.5, 1589, 3544),
    (0.9, 0.000, 0, 0, 50, 67.27, 0, 185),
    (0.9, 0.010, 100, 100, 150, 120.5, 13, 398),
    (0.9, 0.050, 2500, 500, 2550, 504.5, 1627, 3557),
]


@pytest.mark.parametrize(("r", "x1", "y1", "u1", "y", "u", "low", "high"), POWER_LOSS)
def test_94_power_loss(
    r: float, x1: float, y1: float, u1: float, y: float, u: float, low: float, high: float
) -> None:
    covariance = 0.005**2 * np.array([[1.0, r], [r, 1.0]])
    root = np.linalg.cholesky(covariance)
    estimate = np.array([x1, 0.0])

    def loss(x: np.ndarray) -> np.ndarray:
        return 1e6 * (x[0] ** 2 + x[1] ** 2)

    first = propagate(loss, estimate, covariance)
    assert first.value[0] == pytest.approx(y1)
    assert first.standard_uncertainty[0] == pytest.approx(u1, abs=1e-6)

    def model(rng: np.random.Generator, n: int) -> np.ndarray:
        return loss(estimate[:, None] + root @ rng.standard_normal((2, n)))[None, :]

    drawn = draw_adaptively(model, seed=SEED, is_shortest=True)
    assert drawn.is_settled.all()
    exact_variance = 4 * 0.005**2 * x1**2 + 4 * 0.005**4 * (1 + r * r)
    assert math.sqrt(exact_variance) * 1e6 == pytest.approx(u, rel=2e-3)
    delta = tolerance(u)
    assert drawn.mean[0] == pytest.approx(y, abs=max(2 * delta, 0.02 * u))
    assert drawn.standard_uncertainty[0] == pytest.approx(u, abs=max(2 * delta, 0.02 * u))
    assert [drawn.low[0], drawn.high[0]] == pytest.approx([low, high], abs=0.09 * u)
    # The largest case is the nearest to normal, and still not within two digits.
    checked = validate_first_order(y1, u1, 1.95996 * u1, low=drawn.low[0], high=drawn.high[0])
    assert not checked.is_valid


@pytest.mark.parametrize(
    ("distribution", "u"),
    [
        (Distribution.NORMAL, 1.0),
        (Distribution.RECTANGULAR, 1.0),
        (Distribution.TRIANGULAR, 1.0),
        (Distribution.ARCSINE, 1.0),
    ],
)
def test_every_distribution_has_its_standard_uncertainty(
    distribution: Distribution, u: float
) -> None:
    drawn = Component("x", u, distribution).draw(np.random.default_rng(SEED), 200_000)
    assert drawn.std() == pytest.approx(u, rel=0.01)
    assert drawn.mean() == pytest.approx(0.0, abs=0.01)


def test_the_t_distribution_is_wider_by_what_its_degrees_of_freedom_say() -> None:
    t = Component("x", 1.0, Distribution.STUDENT_T, 9.0)
    drawn = t.draw(np.random.default_rng(SEED), 400_000)
    # JCGM 101:2008, 6.4.9.4: variance nu / (nu - 2).
    assert drawn.std() == pytest.approx(math.sqrt(9 / 7), rel=0.01)


@pytest.mark.parametrize(
    ("u", "n_dig", "delta"),
    [(0.00035, 2, 0.5e-5), (0.00035, 1, 0.5e-4), (2.0, 2, 0.05), (10.1489, 2, 0.5),
     (0.0994, 2, 0.0005), (0.0996, 2, 0.005), (50, 2, 0.5), (0.0754, 2, 0.0005)],
)  # fmt: skip
def test_tolerance_is_half_a_unit_of_the_last_digit_of_u_rounded(
    u: float, n_dig: int, delta: float
) -> None:
    assert tolerance(u, n_dig) == pytest.approx(delta)
