"""Reading figures off many drawn load lines at once. Curves are powers of a label v in [-1, 1]."""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import Floats, Ints
from server.reduction.uncertainty.point_table import CURRENT, INPUT, POWER, SPEED

GRID = 33  # polynomials of order 8 at most: no wiggle falls between
STEPS = 3
LABELS = np.linspace(-1.0, 1.0, GRID)

Coefficients = dict[str, Floats]


@dataclass(frozen=True, slots=True)
class Reading:
    """(n,) per draw at one place of the line; a quantity that was not measured is missing."""

    place: Floats
    values: dict[str, Floats]


def read_at(coefficients: Coefficients, v: Floats) -> Reading:
    """Every quantity at label v (n,), with torque = P / w and efficiency = P / P_in."""
    found = {name: evaluate(c, v) for name, c in coefficients.items()}
    found["torque"] = found[POWER] / found[SPEED]
    if INPUT in found:
        found["efficiency"] = found[POWER] / found[INPUT]
    return Reading(v, found)


def highest_power(coefficients: Coefficients) -> Floats:
    """Label (n,) where the power of each draw is highest, the ends of the line included."""
    power = coefficients[POWER]
    first = slope(power)
    second = slope(first)
    return _refined(
        np.argmax(_on_grid(power), axis=1),
        lambda v: _newton(evaluate(first, v), evaluate(second, v)),
    )


def best_efficiency(coefficients: Coefficients) -> Floats:
    """Label (n,) where P / P_in of each draw is highest."""
    power, given = coefficients[POWER], coefficients[INPUT]
    power_1, given_1 = slope(power), slope(given)
    power_2, given_2 = slope(power_1), slope(given_1)

    def step(v: Floats) -> Floats:
        p, s = evaluate(power, v), evaluate(given, v)
        p_1, s_1 = evaluate(power_1, v) / p, evaluate(given_1, v) / s
        p_2, s_2 = evaluate(power_2, v) / p, evaluate(given_2, v) / s
        return _newton(p_1 - s_1, p_2 - s_2 - p_1**2 + s_1**2)

    return _refined(np.argmax(_on_grid(power) / _on_grid(given), axis=1), step)


def at_current(coefficients: Coefficients, amperes: float) -> Floats:
    """Label (n,) where the current first reaches a value; the line's end where it does not."""
    current = coefficients[CURRENT]
    values = _on_grid(current)
    rows = np.arange(values.shape[0])
    first = np.argmax(values >= amperes, axis=1)
    first = np.where(values[rows, first] >= amperes, first, GRID - 1)
    before = np.maximum(first - 1, 0)
    low, high = LABELS[before], LABELS[first]
    below, above = values[rows, before], values[rows, first]
    rise = np.where(above > below, above - below, 1.0)
    v = low + np.clip((amperes - below) / rise, 0.0, 1.0) * (high - low)
    rate = slope(current)
    for _ in range(STEPS):
        d = evaluate(rate, v)
        v = np.clip(v + (amperes - evaluate(current, v)) / np.where(d != 0, d, np.inf), low, high)
    return np.asarray(v)


def at_speed(coefficients: Coefficients, speed_rad_s: Floats, start: Floats | float) -> Floats:
    """Label (n,) where the speed of each draw has its value (n,), the one nearest to `start`."""
    curve = coefficients[SPEED]
    rate = slope(curve)
    v: Floats = np.zeros_like(speed_rad_s) + start
    for _ in range(STEPS):
        d = evaluate(rate, v)
        v = np.clip(v + (speed_rad_s - evaluate(curve, v)) / np.where(d != 0, d, np.inf), -1, 1)
    return v


def evaluate(coefficients: Floats, v: Floats) -> Floats:
    """Polynomials (p, n), each at its own v (n,), by Horner's rule."""
    value: Floats = coefficients[-1].copy()
    for row in coefficients[-2::-1]:
        value *= v
        value += row
    return value


def slope(coefficients: Floats) -> Floats:
    """Derivatives (p - 1, n) of polynomials (p, n); of constants, zero."""
    if coefficients.shape[0] < 2:
        return np.zeros_like(coefficients)
    return np.asarray(coefficients[1:] * np.arange(1, coefficients.shape[0])[:, None])


def _on_grid(coefficients: Floats) -> Floats:
    """(n, GRID), rows contiguous: the search along each runs at full speed."""
    powers = LABELS[None, :] ** np.arange(coefficients.shape[0])[:, None]
    return np.asarray(coefficients.T @ powers)


def _refined(best: Ints, step: Callable[[Floats], Floats]) -> Floats:
    low = LABELS[np.maximum(best - 1, 0)]
    high = LABELS[np.minimum(best + 1, GRID - 1)]
    v = LABELS[best]
    for _ in range(STEPS):
        v = np.clip(v + step(v), low, high)
    return np.asarray(v)


def _newton(first: Floats, second: Floats) -> Floats:
    """Step towards a maximum: where the curve does not bend down, up to the end of the cell."""
    bends = second < 0
    return np.where(bends, -first / np.where(bends, second, -1.0), np.sign(first))
