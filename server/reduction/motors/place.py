"""Where the highest shaft power stands, by the motor's law bent a little to the torque read."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from server.model.results import LoadPoint
from server.model.words import Channel
from server.reduction.arrays import Floats
from server.reduction.loadline import pooled_u
from server.reduction.motors.bent import BentLaw
from server.reduction.motors.fit import Fitted
from server.reduction.motors.law import OUTPUTS, State
from server.reduction.motors.observe import RunError
from server.reduction.motors.weigh import join

STEP = 1e-5  # relative, of speed and voltage
CELLS = 400  # that the speeds are searched in
BENDS = (1.0, 3.0, 10.0)  # how far a law may bend: the least that the powers agree with
WELL = 2.0  # mean square of the powers about it, in their standard uncertainties
CURRENT, TORQUE, POWER = (
    OUTPUTS.index(c) for c in (Channel.CURRENT, Channel.TORQUE, Channel.POWER)
)


@dataclass(frozen=True, slots=True)
class Place:
    """Speed (rad/s) of the highest shaft power, and what moves it.

    `by_power`, `by_speed`, `by_current`, `by_input` (N,): its derivative to each load point's
    reading, SI. `by_voltage`: to a relative error of every voltage, and to an offset (V) of it;
    `u_voltage`: what the voltages' scatter does. `u_law`: standard uncertainty because a motor
    bends otherwise than its law, and of what practice says of its constants. `misfit`: mean square
    of the powers about the bent law, in their standard uncertainties.
    """

    speed_rad_s: float
    by_power: Floats
    by_speed: Floats
    by_current: Floats
    by_input: Floats
    by_voltage: tuple[float, float]
    u_voltage: float
    u_law: float
    misfit: float
    law: str

    @property
    def is_finite(self) -> bool:
        numbers = (self.speed_rad_s, *self.by_voltage, self.u_voltage, self.u_law, self.misfit)
        rows = (self.by_power, self.by_speed, self.by_current, self.by_input)
        return bool(np.all(np.isfinite(numbers)) and np.all(np.isfinite(rows)))


def highest_place(
    fitted: Fitted, errors: Sequence[RunError], points: Sequence[LoadPoint]
) -> Place | None:
    """Find the speed of the highest shaft power along a motor's law.

    Model:  P(w) = w T(w, V(w); theta_j (1 + 0.01 c_j)),  c_j standard normal before the torque is
            seen; V(w) falls along the load as it did in the run

    Parameters
    ----------
    fitted : the law, from `fit_law`. errors : shared by all points, unknowns of the fit too.
    points : the run's load points.

    Returns
    -------
    Place; None where the power is highest at an end of the speeds seen.

    Notes
    -----
    All channels together fix the law. A motor does not obey its law to the last digit: the torque
    may follow constants about 1 % off those that current and input power show, as far as it asks
    for that itself. Constants, errors and bend are found in one linear step, so that the place
    answers to each reading by a number that is known, whatever errors the readings share.
    """
    place = None
    for times in BENDS:
        place = _place(BentLaw(fitted, errors, times=times), points)
        if place is None or place.misfit <= WELL:
            break
    return place


def _place(law: BentLaw, points: Sequence[LoadPoint]) -> Place | None:
    fitted, bends = law.fitted, law.bend_columns()
    joint = join(fitted, law.errors, more=bends, weight=law.weight())
    found = joint.step
    seen = fitted.observed.state
    speed = _vertex(lambda w: law.power(found, w), float(seen.speed.min()), float(seen.speed.max()))
    if speed is None:
        return None
    per_slope = -1.0 / law.bend(found, speed)
    over_unknowns = per_slope * law.slope_over_unknowns(found, speed)
    by_row = over_unknowns @ joint.answer()
    n_readings = fitted.observed.n * int(fitted.observed.has.sum())
    of_bend = -by_row @ bends - over_unknowns[-bends.shape[1] :]
    of_practice = by_row[n_readings:]
    by_volts = _by_readings(fitted, by_row, Channel.VOLTAGE)
    by_volts += per_slope * law.slope_over_volts(found, speed)
    return Place(
        speed_rad_s=speed,
        **_by_points(fitted, by_row, len(points)),
        by_voltage=(float(by_volts @ seen.voltage), float(by_volts.sum())),
        u_voltage=law.u_voltage * float(np.linalg.norm(by_volts)),
        u_law=float(np.sqrt(of_bend @ of_bend + of_practice @ of_practice)),
        misfit=_misfit(law, found, points),
        law=fitted.law.name,
    )


def _vertex(power: Callable[[Floats], Floats], low: float, high: float) -> float | None:
    """Where the power is highest, by the parabola through its cell; None at an end."""
    w = np.linspace(low, high, CELLS + 1)
    value = power(w)
    if not np.all(np.isfinite(value)):
        return None
    i = int(np.argmax(value))
    if not 0 < i < CELLS:
        return None
    left, at, right = (float(v) for v in value[i - 1 : i + 2])
    return float(w[i] + 0.5 * (left - right) / (left - 2 * at + right) * (w[1] - w[0]))


def _by_points(fitted: Fitted, by_row: Floats, n_points: int) -> dict[str, Floats]:
    """Derivatives to the readings of every load point, none to those the fit left out."""
    observed = fitted.observed
    rows = list(observed.rows)
    speed, torque = observed.state.speed, observed.values[TORQUE]
    by_torque = _by_readings(fitted, by_row, Channel.TORQUE)
    of = {
        "by_power": by_torque / speed,
        "by_speed": _by_readings(fitted, by_row, Channel.SPEED) - by_torque * torque / speed,
        "by_current": _by_readings(fitted, by_row, Channel.CURRENT),
        "by_input": _by_readings(fitted, by_row, Channel.POWER),
    }
    spread: dict[str, Floats] = {}
    for name, values in of.items():
        spread[name] = np.zeros(n_points)
        spread[name][rows] = values
    return spread


def _by_readings(fitted: Fitted, by_row: Floats, channel: Channel) -> Floats:
    """From an answer to the rows of the fit (model less measured, standardised) to the readings."""
    observed = fitted.observed
    of_row = np.zeros_like(observed.values)
    n_readings = observed.n * int(observed.has.sum())
    of_row[observed.has] = by_row[:n_readings].reshape(-1, observed.n)
    of_row /= fitted.sigma
    if channel in OUTPUTS:
        return np.asarray(-of_row[OUTPUTS.index(channel)])
    state = observed.state
    h = 1 + STEP
    if channel is Channel.SPEED:
        moved, size = State(state.speed * h, state.voltage, state.current_near), state.speed
    else:
        moved, size = State(state.speed, state.voltage * h, state.current_near), state.voltage
    slope = (fitted.predict(moved) - fitted.predict(state)) / (STEP * size)
    return np.asarray(np.sum(of_row * slope, axis=0))


def _misfit(law: BentLaw, found: Floats, points: Sequence[LoadPoint]) -> float:
    speed = np.array([p.speed_rad_s for p in points])
    power = np.array([p.shaft_power_w for p in points])
    u = pooled_u([p.u_shaft_power_w for p in points], points, power)
    rows = list(law.fitted.observed.rows)
    return float(np.mean(((power - law.power(found, speed)) / u)[rows] ** 2))
