"""Fit a motor's law to all channels of a run at once."""

from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np

from server.reduction.arrays import Floats
from server.reduction.motors.law import Law, Observed, State
from server.reduction.motors.observe import RunError
from server.reduction.motors.solve import Solution, least_squares

FIRST_LOOK = 0.01  # of each channel's largest value
MAD = 1.4826  # standard deviation of a normal distribution over its median deviation
SPEED_STEP = 1e-6
MAX_RUNS = 0.9  # of the correlation between neighbours' residuals
SAME_SCALE = 0.1
FIRST, AFTER = 40, 25  # steps of the solver: to find the place, then to refine it


@dataclass(frozen=True, slots=True)
class Fitted:
    """A law with its constants.

    `covariance` (p + k, p + k): of the constants, then of the k shared `errors`, each counted in
    its own standard uncertainties; `found` (k,) what they come out as. `residual`, `sigma`,
    `weight` (3, n): measured less model (shared errors taken out), its standard deviation, the
    robust weight. `criterion`: AICc.
    """

    law: Law
    observed: Observed
    theta: Floats
    covariance: Floats
    errors: tuple[RunError, ...]
    found: Floats
    residual: Floats
    sigma: Floats
    weight: Floats
    criterion: float
    solution: Solution

    @property
    def n_constants(self) -> int:
        return int(self.theta.size)

    @property
    def of_constants(self) -> Floats:
        """Covariance (p, p) of the constants alone."""
        return np.asarray(self.covariance[: self.n_constants, : self.n_constants])

    def predict(self, state: State) -> Floats:
        """(3, n) in the order of `OUTPUTS`."""
        return np.asarray(self.law.predict(self.theta[None], state)[0])


def fit_law(law: Law, observed: Observed) -> Fitted:
    """Fit a law's constants to current, torque and (where metered) input power together.

    Model:  min sum_c sum_i rho((y_ci - f_c(w_i, V_i; theta)) / (s_c sigma_ci)), rho Huber's
            sigma^2 = u_y^2 + (df/dw u_w)^2,  s_c >= 1 from the residuals of each channel

    Parameters
    ----------
    law, observed : see there.

    Returns
    -------
    Fitted, no errors shared by all points in it yet (see weigh.py). The covariance is that of
    scatter and misfit, widened by (1 + r) / (1 - r) where neighbouring residuals are correlated
    by r > 0, as they are where the law bends otherwise than the motor.

    Notes
    -----
    What practice says of a constant (`Constant.usual`) enters as one more observation.

    Sources
    -------
    Robust weights: Huber, Robust Statistics. AICc: Burnham and Anderson, Model Selection and
    Multimodel Inference, 2nd ed., 2.4 (both cited from memory).
    """
    measured = observed.has
    scale = np.array([c.scale for c in law.constants])
    least = np.array([c.least for c in law.constants]) / scale
    size = np.maximum(np.abs(observed.values).max(axis=1), 1e-12)[:, None]

    def run(sigma: Floats, start: Floats, *, is_robust: bool) -> Solution:
        ask = _residuals(law, observed, sigma, scale)
        return least_squares(
            ask, start, least, is_robust=is_robust, max_steps=AFTER if is_robust else FIRST
        )

    even = np.broadcast_to(FIRST_LOOK * size, observed.values.shape)
    look = run(even, law.start / scale, is_robust=False)
    sigma = point_sigma(law, observed, look.x * scale)
    channel = np.ones(3)
    solution = look
    for _ in range(3):
        residual = observed.values - law.predict((solution.x * scale)[None], observed.state)[0]
        found = _channel_scale(residual / sigma, len(law.constants))
        settled = bool(np.all(np.abs(found[measured] / channel[measured] - 1) < SAME_SCALE))
        if settled and solution is not look:
            break
        channel = found
        solution = run(sigma * channel[:, None], solution.x, is_robust=True)
    return _fitted(law, observed, solution, sigma, channel)


def _residuals(
    law: Law, observed: Observed, sigma: Floats, scale: Floats
) -> Callable[[Floats], Floats]:
    """Standardised model less measured, and what practice says, for many scaled constants."""
    usual = [(i, *c.usual) for i, c in enumerate(law.constants) if c.usual is not None]

    def ask(x: Floats) -> Floats:
        theta = x * scale
        with np.errstate(all="ignore"):
            model = law.predict(theta, observed.state)
        r = ((model - observed.values) / sigma)[:, observed.has].reshape(x.shape[0], -1)
        priors = [((theta[:, i] - value) / u)[:, None] for i, value, u in usual]
        return np.concatenate([r, *priors], axis=1)

    return ask


def point_sigma(law: Law, observed: Observed, theta: Floats) -> Floats:
    """Scatter of each reading, and what the scatter of the speed makes of it."""
    state = observed.state
    moved = State(state.speed * (1 + SPEED_STEP), state.voltage, state.current_near)
    slope = law.predict(theta[None], moved)[0] - law.predict(theta[None], state)[0]
    slope /= SPEED_STEP * state.speed
    return np.asarray(np.hypot(observed.u, slope * observed.u_speed))


def _channel_scale(standard: Floats, n_constants: int) -> Floats:
    """How much wider than its scatter each channel lies about the law, never less than one."""
    n = standard.shape[1]
    freedom = np.sqrt(n / max(n - n_constants / 2, 1.0))
    return np.asarray(np.maximum(1.0, MAD * np.median(np.abs(standard), axis=1) * freedom))


def _fitted(
    law: Law, observed: Observed, solution: Solution, sigma: Floats, channel: Floats
) -> Fitted:
    scale = np.array([c.scale for c in law.constants])
    theta = solution.x * scale
    residual = observed.values - law.predict(theta[None], observed.state)[0]
    weight = np.ones_like(residual)
    n_measured = int(observed.has.sum()) * observed.n
    weight[observed.has] = solution.weight[:n_measured].reshape(-1, observed.n)
    found = Fitted(
        law=law,
        observed=observed,
        theta=theta,
        covariance=np.zeros((theta.size, theta.size)),
        errors=(),
        found=np.zeros(0),
        residual=residual,
        sigma=sigma * channel[:, None],
        weight=weight,
        criterion=_criterion(residual, sigma, weight, observed, solution, n_measured),
        solution=solution,
    )
    weighted = solution.jacobian * widened_weight(found)[:, None]
    covariance = floored_inverse(weighted.T @ solution.jacobian) * np.outer(scale, scale)
    return replace(found, covariance=covariance)


def widened_weight(fitted: Fitted) -> Floats:
    """Weight of each row of the fit, the readings' less where neighbours err alike."""
    weight = fitted.solution.weight.copy()
    has = fitted.observed.has
    n_measured = int(has.sum()) * fitted.observed.n
    weight[:n_measured] /= _widening((fitted.residual / fitted.sigma)[has])
    return weight


def floored_inverse(normal: Floats) -> Floats:
    """Of a symmetric matrix; what the data say nothing on gets a very large variance, not none."""
    size = np.sqrt(np.maximum(np.diag(normal), 1e-20 * np.diag(normal).max()))
    values, vectors = np.linalg.eigh(normal / np.outer(size, size))
    floored = np.maximum(values, 1e-13)
    return np.asarray((vectors / floored) @ vectors.T / np.outer(size, size))


def _widening(runs: Floats) -> float:
    """(1 + r) / (1 - r) of the largest correlation r between neighbours' residuals, least one."""
    most = 0.0
    for row in np.clip(runs, -3, 3):
        square = float(row @ row)
        if square > 0:
            most = max(most, float(row[1:] @ row[:-1]) / square)
    most = min(most, MAX_RUNS)
    return (1 + most) / (1 - most)


def _criterion(
    residual: Floats,
    sigma: Floats,
    weight: Floats,
    observed: Observed,
    solution: Solution,
    n_measured: int,
) -> float:
    """AICc from the likelihood with each channel's own spread, never below its scatter."""
    n = observed.n
    deviance = float(np.sum(solution.residual[n_measured:] ** 2))
    for row in np.flatnonzero(observed.has):
        standard = (residual / sigma)[row]
        square = float(np.sum(weight[row] * standard**2))
        spread = max(1.0, square / n)
        deviance += float(np.sum(2 * np.log(sigma[row]))) + n * np.log(spread) + square / spread
    p = solution.x.size + int(observed.has.sum())
    return float(deviance + 2 * p + 2 * p * (p + 1) / max(n_measured - p - 1, 0.5))
