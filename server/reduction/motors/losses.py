"""Where the power goes: the losses of a fitted motor beside input less output."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from server.model.motor import LossKind, LossPart, PointLosses
from server.model.words import Channel
from server.reduction.arrays import Floats
from server.reduction.motors.fit import Fitted
from server.reduction.motors.observe import RunError

TOLD_REL = 0.5  # a part less sure than this is not told apart
TOGETHER = -0.9  # correlation below which two parts only stand as a sum
STEP = 1e-6
CURRENT, TORQUE, POWER = range(3)


@dataclass(frozen=True, slots=True)
class _Parts:
    """Groups of kinds, each with watts (n,) and their slope over the constants (p, n)."""

    kinds: tuple[tuple[LossKind, ...], ...]
    watts: Floats  # (groups, n)
    slope: Floats  # (groups, p, n)


def split_losses(fitted: Fitted) -> tuple[PointLosses, ...]:
    """Split the loss at each load point into copper, brush, iron, and friction and windage.

    Model:  P_in - T w = sum of parts + beyond
            u^2(part) = g C g',  g the part's slope over the constants, C their covariance
            (of `beyond`: over constants and the instruments' shared errors together)

    Returns
    -------
    PointLosses, fast points first. `beyond_w` is measured input less output less the parts;
    its uncertainty holds the scatter of both readings, the constants', and the instruments'.

    Notes
    -----
    Kinds that this run can't tell apart are shown as one: iron with friction and windage where
    the law has no iron term of its own, any part known to no better than `TOLD_REL` (with the
    part it is most opposed to), and any two whose errors cancel.

    Sources
    -------
    Propagation: JCGM 100:2008, 5.2.2.
    """
    parts = _merged(_own_parts(fitted), fitted.of_constants)
    measured, u_scatter = _measured_loss(fitted)
    total_slope = parts.slope.sum(axis=0)
    beyond = measured - parts.watts.sum(axis=0)
    # What was read is the truth less the shared errors: what the fit found them to be, and more.
    moved = np.reshape([_moved_loss(fitted, error) for error in fitted.errors], (-1, beyond.size))
    joint = np.vstack([total_slope, -moved])
    variance = u_scatter**2 + _quadratic(joint, fitted.covariance) + (fitted.found @ moved) ** 2
    u_parts = np.sqrt([_quadratic(s, fitted.of_constants) for s in parts.slope])
    observed = fitted.observed
    found: list[PointLosses] = []
    for i in range(observed.n):
        speed, torque = float(observed.state.speed[i]), float(observed.values[TORQUE, i])
        found.append(
            PointLosses(
                torque_nm=torque,
                speed_rad_s=speed,
                input_power_w=float(observed.values[POWER, i]),
                shaft_power_w=torque * speed,
                parts=tuple(
                    LossPart(kinds, float(parts.watts[j, i]), float(u_parts[j, i]))
                    for j, kinds in enumerate(parts.kinds)
                ),
                beyond_w=float(beyond[i]),
                u_beyond_w=float(np.sqrt(variance[i])),
            )
        )
    return tuple(found)


def slope_over_constants(
    ask: Callable[[Floats], Floats], theta: Floats, scale: Sequence[float]
) -> tuple[Floats, Floats]:
    """`ask` at theta (...), and its forward differences over each constant (p, ...).

    Model:  df/dtheta_i = (f(theta + h_i) - f(theta)) / h_i,  h_i a millionth of the constant
    """
    steps = STEP * np.maximum(np.abs(theta), 1e-2 * np.asarray(scale))
    found = ask(np.vstack([theta, theta + np.diag(steps)]))
    shape = (-1,) + (1,) * (found.ndim - 1)
    return found[0], (found[1:] - found[0]) / steps.reshape(shape)


def _own_parts(fitted: Fitted) -> _Parts:
    law, state = fitted.law, fitted.observed.state
    kinds = tuple(law.losses(fitted.theta[None], state))

    def ask(theta: Floats) -> Floats:
        found = law.losses(theta, state)
        like = np.zeros((theta.shape[0], state.speed.size))
        return np.stack([found[k] + like for k in kinds], axis=1)

    watts, slope = slope_over_constants(ask, fitted.theta, [c.scale for c in law.constants])
    groups = tuple(
        (k,) if law.told_apart or k is not LossKind.ROTATION else (LossKind.IRON, k) for k in kinds
    )
    return _Parts(groups, watts, np.moveaxis(slope, 1, 0))


def _merged(parts: _Parts, covariance: Floats) -> _Parts:
    """Join groups until each is known well enough, judged at the run's median load."""
    middle = parts.watts.shape[1] // 2
    while len(parts.kinds) > 1:
        pair = _pair_to_join(parts.watts[:, middle], parts.slope[:, :, middle], covariance)
        if pair is None:
            break
        i, j = pair
        kept = [k for k in range(len(parts.kinds)) if k not in pair]
        order = tuple(LossKind)
        kinds = tuple(sorted({*parts.kinds[i], *parts.kinds[j]}, key=order.index))
        parts = _Parts(
            (*(parts.kinds[k] for k in kept), kinds),
            np.vstack([parts.watts[kept], parts.watts[i] + parts.watts[j]]),
            np.concatenate([parts.slope[kept], (parts.slope[i] + parts.slope[j])[None]]),
        )
    return parts


def _pair_to_join(watts: Floats, slope: Floats, covariance: Floats) -> tuple[int, int] | None:
    between = slope @ covariance @ slope.T
    u = np.sqrt(np.maximum(np.diag(between), 1e-300))
    correlation = between / np.outer(u, u) + 2 * np.eye(u.size)
    unsure = u > TOLD_REL * np.abs(watts)
    if unsure.any():
        i = int(np.argmax(np.where(unsure, u / np.maximum(np.abs(watts), 1e-12), 0.0)))
        return i, int(np.argmin(correlation[i]))
    i, j = (int(k) for k in np.unravel_index(np.argmin(correlation), correlation.shape))
    weak = u[i] > 0.2 * abs(watts[i]) or u[j] > 0.2 * abs(watts[j])
    return (i, j) if correlation[i, j] < TOGETHER and weak else None


def _measured_loss(fitted: Fitted) -> tuple[Floats, Floats]:
    """Input less output as read, and its scatter (the spread about the law, if that is wider)."""
    observed = fitted.observed
    speed = observed.state.speed
    loss = observed.values[POWER] - observed.values[TORQUE] * speed
    u_torque = fitted.sigma[TORQUE] / np.sqrt(fitted.weight[TORQUE])
    if observed.has[POWER]:
        u_power = fitted.sigma[POWER] / np.sqrt(fitted.weight[POWER])
    else:
        u_power = fitted.sigma[CURRENT] / np.sqrt(fitted.weight[CURRENT]) * observed.state.voltage
    return loss, np.asarray(np.hypot(u_power, u_torque * speed))


def _moved_loss(fitted: Fitted, error: RunError) -> Floats:
    """What one standard uncertainty of a shared error does to input less output."""
    observed = fitted.observed
    voltage, speed = observed.state.voltage, observed.state.speed
    current, torque, power = observed.values
    if error.channel is Channel.TORQUE:
        return np.asarray(-error.of(torque) * speed)
    if error.channel is Channel.SPEED:
        return np.asarray(-error.of(speed) * torque)
    if observed.has[POWER]:
        return error.of(power) if error.channel is Channel.POWER else np.zeros_like(power)
    if error.channel is Channel.VOLTAGE:
        return np.asarray(error.of(voltage) * current)
    return np.asarray(error.of(current) * voltage)


def _quadratic(slope: Floats, covariance: Floats) -> Floats:
    """g C g' at each point; slope (p, n)."""
    return np.asarray(np.maximum(np.einsum("pn,pq,qn->n", slope, covariance, slope), 0.0))
