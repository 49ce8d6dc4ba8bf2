"""A motor's law as the instruments show it, its torque bent a little: power over speed."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from server.model.words import Channel
from server.reduction.arrays import Floats
from server.reduction.motors.fit import Fitted, point_sigma, widened_weight
from server.reduction.motors.law import OUTPUTS, State
from server.reduction.motors.observe import RunError
from server.reduction.polynomial import Polynomial, choose_polynomial

BEND_REL = 0.01  # of each constant, for the torque; common practice, no source
WAVE_REL = 1e-4  # of the highest power, for each polynomial; common practice, no source
WAVES = 5
LEAST_OF_SCALE = 0.05  # of a constant's scale: one near zero may differ by a share of this
STEP = 1e-4  # of each unknown
REACH = 2e-3  # of the span of speeds: how far apart slopes are taken
VOLTAGE_ORDER = 4
LEAST_SCATTER = 1e-6  # of the voltage
SECOND_DIFFERENCE = 6.0  # variance of y1 - 2 y2 + y3 over that of y
CURRENT, TORQUE = OUTPUTS.index(Channel.CURRENT), OUTPUTS.index(Channel.TORQUE)


class BentLaw:
    """Shaft power as shown, for unknowns (q,): constants' steps (of their scale), then shared
    errors, then bends, both in standard uncertainties. `times`: how much more it bends."""

    def __init__(self, fitted: Fitted, errors: Sequence[RunError], *, times: float = 1.0) -> None:
        self.fitted, self.errors = fitted, tuple(errors)
        self._scale = np.array([c.scale for c in fitted.law.constants])
        share = np.maximum(np.abs(fitted.solution.x), LEAST_OF_SCALE)
        self._size: Floats = times * BEND_REL * share
        seen = fitted.observed.state
        self._speed, self._current = seen.speed[::-1], fitted.observed.values[CURRENT][::-1]
        self._volts = _voltage_along(self._load(self._speed), seen.voltage[::-1])
        self._reach = REACH * float(np.ptp(seen.speed))
        torque = fitted.observed.values[TORQUE]
        self._wave_w = times * WAVE_REL * float(np.max(np.abs(torque * seen.speed)))

    @property
    def n_constants(self) -> int:
        return self.fitted.n_constants

    def bend_columns(self) -> Floats:
        """(rows, p) of the fit: what one standard bend of each constant does to the torque."""
        has, n = self.fitted.observed.has, self.fitted.observed.n
        first = int(has[:TORQUE].sum()) * n
        columns = np.zeros_like(self.fitted.solution.jacobian)
        rows = slice(first, first + n)
        columns[rows] = self.fitted.solution.jacobian[rows] * self._size
        speed = self.fitted.observed.state.speed
        waves = np.zeros((columns.shape[0], WAVES))
        sigma = self.fitted.sigma[TORQUE]
        waves[rows] = self._waves(speed) * self._wave_w / (speed * sigma)[:, None]
        return np.hstack([columns, waves])

    def weight(self) -> Floats:
        """(rows,) of the fit, the torque's by its own scatter: what lies beyond is the bend's."""
        fitted = self.fitted
        has, n = fitted.observed.has, fitted.observed.n
        own = point_sigma(fitted.law, fitted.observed, fitted.theta)[TORQUE]
        weight: Floats = widened_weight(fitted)
        first = int(has[:TORQUE].sum()) * n
        rows = slice(first, first + n)
        weight[rows] = fitted.solution.weight[rows] * (fitted.sigma[TORQUE] / own) ** 2
        return weight

    def _waves(self, speed: Floats) -> Floats:
        """(n, WAVES) Chebyshev polynomials over the speeds seen."""
        low, high = float(self._speed[0]), float(self._speed[-1])
        return np.asarray(chebyshev.chebvander((2 * speed - low - high) / (high - low), WAVES - 1))

    @property
    def u_voltage(self) -> float:
        """Scatter of one voltage."""
        return self._volts.scatter

    def power(self, unknowns: Floats, speed: Floats) -> Floats:
        """(n,) at (n,) speeds."""
        return np.asarray(self._many(unknowns[None], speed)[0])

    def bend(self, unknowns: Floats, speed: float) -> float:
        """Second derivative of power over speed."""
        low, at, high = self.power(unknowns, self._around(speed, wide=10.0)).tolist()
        return float((low - 2 * at + high) / (10 * self._reach) ** 2)

    def slope_over_unknowns(self, unknowns: Floats, speed: float) -> Floats:
        """(q,) derivative of the power's slope at a speed to each unknown."""
        many = np.vstack([unknowns, unknowns + STEP * np.eye(unknowns.size)])
        slopes = self._slopes(self._many(many, self._around(speed)))
        return np.asarray((slopes[1:] - slopes[0]) / STEP)

    def slope_over_volts(self, unknowns: Floats, speed: float) -> Floats:
        """(n,) derivative of the power's slope at a speed to the voltage read at each load."""
        around = self._around(speed)
        typical = float(self.fitted.observed.state.voltage.mean())
        moved = self._many(unknowns[None], around, STEP * typical)[0]
        per_volt = (moved - self.power(unknowns, around)) / (STEP * typical)
        by_reading = per_volt[:, None] * self._volts.over_values(self._load(around))
        return np.asarray((by_reading[2] - by_reading[0]) / (2 * self._reach))[::-1]

    def _load(self, speed: Floats) -> Floats:
        """(n,) the law's current at the mean voltage: along it the supply's voltage falls."""
        near = np.interp(speed, self._speed, self._current)
        volts = np.full_like(speed, float(self.fitted.observed.state.voltage.mean()))
        return np.asarray(self.fitted.predict(State(speed, volts, near))[CURRENT])

    def _around(self, speed: float, wide: float = 1.0) -> Floats:
        return speed + wide * self._reach * np.array([-1.0, 0.0, 1.0])

    def _slopes(self, power: Floats) -> Floats:
        return np.asarray((power[:, 2] - power[:, 0]) / (2 * self._reach))

    def _many(self, unknowns: Floats, speed: Floats, more_v: float = 0.0) -> Floats:
        """(m, n) for unknowns (m, q). Those with the same shared errors are asked together."""
        p, k = self.n_constants, len(self.errors)
        theta = (
            unknowns[:, :p] + self.fitted.solution.x + self._size * unknowns[:, p + k : 2 * p + k]
        )
        shared = unknowns[:, p : p + k]
        found = np.empty((unknowns.shape[0], speed.size))
        for errors in np.unique(shared, axis=0):
            rows = np.flatnonzero(np.all(shared == errors, axis=1))
            found[rows] = self._shown(theta[rows] * self._scale, errors, speed, more_v)
        waves = unknowns[:, 2 * p + k :] * self._wave_w
        return found + waves @ self._waves(speed).T

    def _shown(self, theta: Floats, errors: Floats, speed: Floats, more_v: float) -> Floats:
        """What the instruments show where they err by `errors`."""
        near = np.interp(speed, self._speed, self._current)
        volts = self._volts.curve.at(self._load(speed)) + more_v
        true_speed, true_volts = speed.copy(), volts.copy()
        for error, times in zip(self.errors, errors.tolist(), strict=True):
            if error.channel is Channel.SPEED:
                true_speed += times * error.of(speed)
            elif error.channel is Channel.VOLTAGE:
                true_volts += times * error.of(volts)
        with np.errstate(all="ignore"):
            state = State(true_speed, true_volts, near)
            torque = self.fitted.law.predict(theta, state)[:, TORQUE]
        shown = torque.copy()
        for error, times in zip(self.errors, errors.tolist(), strict=True):
            if error.channel is Channel.TORQUE:
                shown -= times * error.of(torque)
        return np.asarray(shown * speed)


@dataclass(frozen=True, slots=True)
class _Voltage:
    """Voltage over load, and `scatter` of one reading, by how it jumps from load to load."""

    curve: Polynomial
    load: Floats
    scatter: float

    def over_values(self, at: Floats) -> Floats:
        """(m, n): derivative of the curve at m loads to each of the n voltages."""
        scaled = ((c - self.curve.centre) / self.curve.half_width for c in (at, self.load))
        there, here = (chebyshev.chebvander(v, self.curve.order) for v in scaled)
        return np.asarray(there @ np.linalg.pinv(here))


def _voltage_along(load: Floats, voltage: Floats) -> _Voltage:
    order = np.argsort(load, kind="stable")
    jumps = np.diff(voltage[order], 2)
    scatter = float(np.sqrt(jumps @ jumps / jumps.size / SECOND_DIFFERENCE))
    u = np.full(voltage.size, max(scatter, LEAST_SCATTER * float(voltage.mean())))
    curve = choose_polynomial(load, voltage, u, max_order=VOLTAGE_ORDER)
    return _Voltage(curve, load, scatter)
