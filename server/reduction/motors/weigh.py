"""Errors that all points of a run share, weighed against a motor's law fitted to them."""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.model.words import Channel
from server.reduction.arrays import Bools, Floats
from server.reduction.motors.fit import Fitted, floored_inverse, widened_weight
from server.reduction.motors.law import OUTPUTS, Law, Observed, State
from server.reduction.motors.observe import RunError


@dataclass(frozen=True, slots=True)
class Joint:
    """The linear problem of constants (scaled, p) and k numbers known to be normal about 0.

    `design` (rows, p + k) in standard deviations, `weight` (rows,); `held` (p,) constants that
    stay at their least value; `step` (p + k,) to the minimum. The k are the errors that all points
    share, then whatever else was joined.
    """

    design: Floats
    weight: Floats
    held: Bools
    step: Floats

    @property
    def normal(self) -> Floats:
        p = self.held.size
        weighted = self.design * self.weight[:, None]
        k = self.design.shape[1] - p
        return np.asarray(weighted.T @ self.design + np.diag([0.0] * p + [1.0] * k))

    def answer(self) -> Floats:
        """(p + k, rows): what a unit of each row of the fit, model less measured, does."""
        free = np.concatenate([~self.held, np.ones(self.step.size - self.held.size, dtype=bool)])
        found = np.zeros((free.size, self.weight.size))
        inverse = floored_inverse(self.normal[np.ix_(free, free)])
        found[free] = -inverse @ (self.design * self.weight[:, None])[:, free].T
        return found


def weigh_errors(fitted: Fitted, errors: Sequence[RunError]) -> Fitted:
    """Take in errors that all points share, as unknowns of which the instruments state the size.

    Model:  min |W (r + J dx + S e)|^2 + |e|^2,  S what one standard uncertainty of each error
            does to the residuals

    Parameters
    ----------
    fitted : from `fit_law`. errors : gains and offsets of instruments.

    Returns
    -------
    Fitted with the constants moved and the joint covariance of constants and errors.

    Notes
    -----
    One linear step: the errors are a per cent at most. Channels that contradict one another
    within their limits are so brought together instead of bending the constants. A constant that
    the step would take below its least value stays there, and the others are found without it.
    """
    law, observed, solution = fitted.law, fitted.observed, fitted.solution
    scale = np.array([c.scale for c in law.constants])
    p, k = fitted.n_constants, len(errors)
    joint = join(fitted, errors)
    least = np.array([c.least for c in law.constants])
    theta = np.maximum((solution.x + joint.step[:p]) * scale, least)
    whole = np.concatenate([scale, np.ones(k)])
    there = observed.values - law.predict(theta[None], observed.state)[0]
    taken_out = np.zeros_like(there)
    n_measured = int(observed.has.sum()) * observed.n
    shifts = joint.design[:n_measured, p:]
    taken_out[observed.has] = (shifts @ joint.step[p:]).reshape(-1, observed.n)
    return replace(
        fitted,
        theta=theta,
        covariance=floored_inverse(joint.normal) * np.outer(whole, whole),
        errors=tuple(errors),
        found=joint.step[p:],
        residual=there - taken_out * fitted.sigma,
    )


def join(
    fitted: Fitted,
    errors: Sequence[RunError],
    *,
    more: Floats | None = None,
    weight: Floats | None = None,
) -> Joint:
    """Constants and shared errors about a fit from `fit_law`, and the step to their minimum.

    `more` (rows, any): further columns of the design, each by a standard normal number. `weight`
    (rows,) where it is another than the fit's.
    """
    law, observed, solution = fitted.law, fitted.observed, fitted.solution
    p = fitted.n_constants
    n_measured = int(observed.has.sum()) * observed.n
    shifts = np.zeros((solution.residual.size, len(errors)))
    for j, error in enumerate(errors):
        moved = _moved_residual(law, observed, fitted.theta, error) / fitted.sigma
        shifts[:n_measured, j] = moved[observed.has].ravel()
    columns = [solution.jacobian, shifts] + ([] if more is None else [more])
    design = np.hstack(columns)
    k = design.shape[1] - p
    scale = np.array([c.scale for c in law.constants])
    to_least = np.array([c.least for c in law.constants]) / scale - solution.x
    joint = Joint(
        design,
        widened_weight(fitted) if weight is None else weight,
        np.zeros(p, dtype=bool),
        np.zeros(0),
    )
    for _ in range(p + 1):
        fixed = np.where(joint.held, to_least, 0.0)
        step = np.concatenate([fixed, np.zeros(k)])
        joint = replace(joint, step=step)
        step = step + joint.answer() @ (solution.residual + design[:, :p] @ fixed)
        joint = replace(joint, step=step)
        below = ~joint.held & (step[:p] < to_least)
        if not below.any():
            break
        joint = replace(joint, held=joint.held | below)
    return joint


def _moved_residual(law: Law, observed: Observed, theta: Floats, error: RunError) -> Floats:
    """How model less measured moves where a channel truly is one standard uncertainty higher."""
    if error.channel in OUTPUTS:
        moved = np.zeros_like(observed.values)
        row = OUTPUTS.index(error.channel)
        moved[row] = -error.of(observed.values[row])
        return moved
    state = observed.state
    is_speed = error.channel is Channel.SPEED
    speed = state.speed + (error.of(state.speed) if is_speed else 0.0)
    voltage = state.voltage + (0.0 if is_speed else error.of(state.voltage))
    there = law.predict(theta[None], State(speed, voltage, state.current_near))[0]
    return np.asarray(there - law.predict(theta[None], state)[0])
