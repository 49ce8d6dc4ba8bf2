"""The figures of a motor's model at one voltage, read off over speed."""

from collections.abc import Sequence

import numpy as np

from server.model.words import MetricName
from server.reduction.arrays import Floats
from server.reduction.motors.law import Law, State

M = MetricName

# Rows of `model_figures`: six quantities at each of three loads, then the free speed.
LOADS: dict[str, tuple[MetricName | None, ...]] = {
    "peak": (
        M.SHAFT_POWER_MAX_STEADY,
        M.TORQUE_AT_MAX_STEADY_POWER,
        M.SPEED_AT_MAX_STEADY_POWER,
        M.CURRENT_AT_MAX_STEADY_POWER,
        M.EFFICIENCY_AT_MAX_STEADY_POWER,
        M.INPUT_POWER_AT_MAX_STEADY_POWER,
    ),
    "rated": (
        M.SHAFT_POWER_AT_RATED_CURRENT,
        M.TORQUE_AT_RATED_CURRENT,
        M.SPEED_AT_RATED_CURRENT,
        None,
        M.EFFICIENCY_AT_RATED_CURRENT,
        M.INPUT_POWER_AT_RATED_CURRENT,
    ),
    "best": (
        M.SHAFT_POWER_AT_EFFICIENCY_MAX,
        M.TORQUE_AT_EFFICIENCY_MAX,
        None,
        None,
        M.EFFICIENCY_MAX,
        M.INPUT_POWER_AT_EFFICIENCY_MAX,
    ),
    "free": (M.FREE_SPEED,),
}
SPEED_ROW = {"peak": 2, "rated": 8, "best": 14, "free": 18}


def model_figures(law: Law, theta: Floats, state: State, levels: Sequence[float | None]) -> Floats:
    """The figures of `LOADS` read off the model at rising speeds.

    Parameters
    ----------
    law, theta (m, p), state : the model. levels : rated current (A), torque running free (N m).

    Returns
    -------
    (m, 19); NaN where a figure lies outside the speeds or its level is None (never leaves the
    room: the caller turns it into a reason).
    """
    with np.errstate(all="ignore"):
        current, torque, power = np.moveaxis(law.predict(theta, state), 1, 0)
        shaft = torque * state.speed
        efficiency = np.where(power > 0, shaft / power, -1.0)
    speed = np.broadcast_to(state.speed, torque.shape)
    table = np.stack([shaft, torque, speed, current, efficiency, power])
    rated, free = levels
    places = (_vertex(shaft), _crossing(current, rated), _vertex(efficiency))
    rows = [row for place in places for row in _at(table, place)]
    return np.stack([*rows, _at(table, _crossing(torque, free))[2]], axis=1)


def _vertex(y: Floats) -> Floats:
    """Place (fractional index) of each row's highest value; NaN where it is at an end."""
    best = np.argmax(y, axis=1)
    inside = np.clip(best, 1, y.shape[1] - 2)
    rows = np.arange(y.shape[0])
    before, at, after = (y[rows, inside + k] for k in (-1, 0, 1))
    with np.errstate(invalid="ignore"):
        bend = before - 2 * at + after
        is_top = (best == inside) & (bend < 0)
        shift = 0.5 * (before - after) / np.where(is_top, bend, 1.0)
    return np.where(is_top, inside + shift, np.nan)


def _crossing(y: Floats, level: float | None) -> Floats:
    """Place where each row, followed from its fast end, first reaches the level."""
    if level is None:
        return np.full(y.shape[0], np.nan)
    reaches = y >= level
    last = y.shape[1] - 1 - np.argmax(reaches[:, ::-1], axis=1)
    is_there = reaches.any(axis=1) & (last < y.shape[1] - 1)
    i = np.minimum(last, y.shape[1] - 2)
    rows = np.arange(y.shape[0])
    low, high = y[rows, i], y[rows, i + 1]
    drop = np.where(is_there, low - high, 1.0)
    return np.where(is_there, i + (low - level) / drop, np.nan)


def _at(table: Floats, place: Floats) -> Floats:
    """Each quantity (6, m) at a place, by the parabola through the three nearest speeds."""
    is_there = np.isfinite(place)
    where = np.where(is_there, place, 1.0)
    middle = np.clip(np.rint(where).astype(int), 1, table.shape[2] - 2)
    t = where - middle
    rows = np.arange(place.size)
    before, at, after = (table[:, rows, middle + k] for k in (-1, 0, 1))
    with np.errstate(invalid="ignore"):
        value = at + t * (after - before) / 2 + t**2 * (after - 2 * at + before) / 2
    return np.where(is_there, value, np.nan)
