"""The solver beside another one."""

import numpy as np
import pytest
from scipy.optimize import least_squares as other

from server.reduction.motors.solve import HUBER, least_squares

X = np.linspace(0.1, 4.0, 30)
NOISE = np.random.default_rng(7).standard_normal(30)


def decay(y: np.ndarray):
    def residuals(theta: np.ndarray) -> np.ndarray:
        a, b, c = (theta[:, i : i + 1] for i in range(3))
        return (a * np.exp(-b * X) + c - y) / 0.02

    return residuals


@pytest.mark.parametrize("offset", [0.3, -0.3])
@pytest.mark.parametrize("is_robust", [False, True])
def test_it_ends_where_another_solver_ends(offset: float, is_robust: bool) -> None:
    y = 2.0 * np.exp(-0.8 * X) + offset + 0.02 * NOISE
    y[5] += 1.0 if is_robust else 0.0
    ask = decay(y)
    least = np.array([0.1, 0.1, 0.0])
    ours = least_squares(ask, np.ones(3), least, is_robust=is_robust)
    theirs = other(
        lambda x: ask(x[None])[0],
        np.ones(3),
        bounds=(least, np.full(3, np.inf)),
        loss="huber" if is_robust else "linear",
        f_scale=HUBER if is_robust else 1.0,
        xtol=1e-12,
        ftol=1e-12,
    )
    assert ours.is_converged
    assert ours.x == pytest.approx(theirs.x, abs=2e-4)
    assert (ours.x[2] == 0.0) == (offset < 0)


def test_an_outlier_is_weighed_down() -> None:
    y = 2.0 * np.exp(-0.8 * X) + 0.3 + 0.02 * NOISE
    y[5] += 1.0
    found = least_squares(decay(y), np.ones(3), np.zeros(3), is_robust=True)
    assert found.weight[5] < 0.1
    assert found.x == pytest.approx([2.0, 0.8, 0.3], abs=0.05)


def test_the_jacobian_is_that_of_the_formula() -> None:
    y = 2.0 * np.exp(-0.8 * X) + 0.3
    found = least_squares(decay(y), np.array([1.9, 0.7, 0.2]), np.zeros(3), is_robust=False)
    a, b, _ = found.x
    exact = np.stack([np.exp(-b * X), -a * X * np.exp(-b * X), np.ones_like(X)], axis=1) / 0.02
    assert found.x == pytest.approx([2.0, 0.8, 0.3], abs=1e-6)
    assert found.jacobian == pytest.approx(exact, rel=1e-4, abs=1e-4)
