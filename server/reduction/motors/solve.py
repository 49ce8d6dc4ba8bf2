"""Least squares with lower limits and robust weights, without the import of an optimiser."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import Floats

STEP = 1e-6
HUBER = 2.5
DAMPING = 1e-3
SETTLED = 1e-6


@dataclass(frozen=True, slots=True)
class Solution:
    """Parameters (scaled), residuals (k,), jacobian (k, p) of the model, weights (k,)."""

    x: Floats
    residual: Floats
    jacobian: Floats
    weight: Floats
    is_converged: bool


def least_squares(
    residuals: Callable[[Floats], Floats],
    start: Floats,
    least: Floats,
    *,
    is_robust: bool,
    max_steps: int = 60,
) -> Solution:
    """Minimise a sum of squares by Levenberg and Marquardt's steps, within lower limits.

    Model:  min_x sum rho(r_i(x)), x >= least; rho(r) = r^2, or Huber's with 2.5

    Parameters
    ----------
    residuals : x (m, p) -> (m, k), in standard deviations; asked for many x at once, which is
        what makes the numeric jacobian cheap. start, least : (p,), of the order of one.

    Returns
    -------
    Solution; `is_converged` False where the steps ran out.

    Notes
    -----
    A parameter at its limit stays there while the sum would fall beyond it.

    Sources
    -------
    Checked against another solver (tests/reduction/motors/test_solve.py).
    """
    x = np.maximum(start, least)
    r, jacobian = _with_jacobian(residuals, x)
    damping, n_calm = DAMPING, 0
    is_converged = False
    for _ in range(max_steps):
        w = huber_weight(r) if is_robust else np.ones_like(r)
        cost = _cost(r, is_robust=is_robust)
        step = _step(x, least, r, jacobian, w, damping)
        trial = np.maximum(x + step, least)
        new = residuals(trial[None])[0]
        new_cost = _cost(new, is_robust=is_robust)
        if np.isfinite(new_cost) and new_cost <= cost:
            n_calm = n_calm + 1 if cost - new_cost <= SETTLED * (cost + 1e-12) else 0
            x = trial
            r, jacobian = _with_jacobian(residuals, x)
            damping = max(damping / 8, 1e-12)
            if n_calm >= 2 or cost == 0.0:
                is_converged = True
                break
        else:
            damping *= 6
            if damping > 1e8:
                is_converged = True
                break
    weight = huber_weight(r) if is_robust else np.ones_like(r)
    return Solution(x, r, jacobian, weight, is_converged)


def huber_weight(r: Floats) -> Floats:
    return np.asarray(np.minimum(1.0, HUBER / np.maximum(np.abs(r), 1e-12)))


def _cost(r: Floats, *, is_robust: bool) -> float:
    if not is_robust:
        return float(r @ r)
    size = np.abs(r)
    return float(np.sum(np.where(size <= HUBER, r**2, 2 * HUBER * size - HUBER**2)))


def _step(
    x: Floats, least: Floats, r: Floats, jacobian: Floats, w: Floats, damping: float
) -> Floats:
    weighted = jacobian * w[:, None]
    slope = weighted.T @ r
    free = (x > least) | (slope < 0)
    normal = (weighted.T @ jacobian)[np.ix_(free, free)]
    grown = normal + np.diag(damping * np.maximum(np.diag(normal), 1e-12))
    step = np.zeros_like(x)
    step[free] = -np.linalg.solve(grown, slope[free])
    return step


def _with_jacobian(residuals: Callable[[Floats], Floats], x: Floats) -> tuple[Floats, Floats]:
    """Residuals at x and their forward differences, from one call."""
    steps = STEP * np.maximum(np.abs(x), 1e-2)
    many = np.vstack([x, x + np.diag(steps)])
    found = residuals(many)
    return found[0], ((found[1:] - found[0]) / steps[:, None]).T
