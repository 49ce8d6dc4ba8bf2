"""Every figure of a brake run as a function of errors: run-level ones and scatter."""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from server.model.words import Channel, MetricName
from server.reduction.arrays import Floats
from server.reduction.uncertainty.drawn_line import DrawnLine
from server.reduction.uncertainty.point_table import (
    CURRENT,
    FACTOR,
    INPUT,
    POWER,
    SPEED,
    PointTable,
)
from server.reduction.uncertainty.read_line import (
    Coefficients,
    Reading,
    at_current,
    at_speed,
    best_efficiency,
    evaluate,
    highest_power,
    read_at,
)
from server.reduction.uncertainty.run_errors import Factors, RunErrors

M = MetricName
PEAK = {
    M.SHAFT_POWER_MAX_STEADY: POWER,
    M.TORQUE_AT_MAX_STEADY_POWER: "torque",
    M.SPEED_AT_MAX_STEADY_POWER: SPEED,
    M.CURRENT_AT_MAX_STEADY_POWER: CURRENT,
    M.EFFICIENCY_AT_MAX_STEADY_POWER: "efficiency",
    M.INPUT_POWER_AT_MAX_STEADY_POWER: INPUT,
}
BEST = {
    M.EFFICIENCY_MAX: "efficiency",
    M.SHAFT_POWER_AT_EFFICIENCY_MAX: POWER,
    M.TORQUE_AT_EFFICIENCY_MAX: "torque",
    M.POWER_FACTOR_AT_EFFICIENCY_MAX: FACTOR,
    M.INPUT_POWER_AT_EFFICIENCY_MAX: INPUT,
}
RATED = {
    M.SHAFT_POWER_AT_RATED_CURRENT: POWER,
    M.TORQUE_AT_RATED_CURRENT: "torque",
    M.SPEED_AT_RATED_CURRENT: SPEED,
    M.EFFICIENCY_AT_RATED_CURRENT: "efficiency",
    M.POWER_FACTOR_AT_RATED_CURRENT: FACTOR,
    M.INPUT_POWER_AT_RATED_CURRENT: INPUT,
}
BY_POWER = frozenset({POWER, "torque", "efficiency"})
# A figure that is the highest of several: beside it the same figure where it stands without error.
FIXED_OF = {
    M.SHAFT_POWER_MAX_STEADY: "fixed: shaft power",
    M.EFFICIENCY_MAX: "fixed: efficiency",
}
# By how much the highest of several exceeds the one that is highest by the line, in each draw.
EXCESS_OF = {M.SHAFT_POWER_BEST_DWELL: "excess: best dwell"}
RIVAL_IN_U = 6.0
Outputs = dict[str, Floats]


@dataclass(frozen=True, slots=True)
class WindowPower:
    """A mean over one window of the log: its parts (W), speed (rad/s), scatter (W)."""

    brake_w: float
    drag_w: float
    inertia_w: float
    speed_rad_s: float
    u_w: float

    def drawn(self, f: Factors, z: Floats) -> Floats:
        s_w = f.gains[Channel.SPEED]
        steady = f.torque * self.brake_w + f.drag * self.drag_w + f.torque_offset * self.speed_rad_s
        return np.asarray(s_w * steady + s_w**2 * f.inertia * self.inertia_w + self.u_w * z)


@dataclass(frozen=True, slots=True)
class RunModel:
    """What figures are made from. `point`: the one point that stands for the highest power where
    there is no line; `free`: the free-running point; `input_held`: power (W) and its scatter with
    the rotor held, `held_loss_w` what the leads took there; `alone`: figures with scatter only
    (value, u). `power_by_line`: the load line's power at the dwells."""

    errors: RunErrors
    table: PointTable | None
    line: DrawnLine | None
    rated_current_a: float | None = None
    point: int | None = None
    free: int | None = None
    dwells: tuple[int, ...] = ()
    power_by_line: dict[int, float] = field(default_factory=dict)
    windows: dict[MetricName, WindowPower] = field(default_factory=dict)
    input_held: tuple[float, float] | None = None
    held_loss_w: float = 0.0
    alone: dict[MetricName, tuple[float, float]] = field(default_factory=dict)

    @property
    def rivals(self) -> tuple[int, ...]:
        """Dwells that could be the best one, were the scatter otherwise."""
        if self.table is None or not self.dwells:
            return ()
        power, u = self.table.power, self.table.u[POWER]
        best = max(self.dwells, key=lambda i: power[i])
        reach = [RIVAL_IN_U * float(np.hypot(u[i], u[best])) for i in self.dwells]
        near = [i for i, r in zip(self.dwells, reach, strict=True) if power[best] - power[i] <= r]
        return (best, *(i for i in near if i != best))

    @property
    def n_line(self) -> int:
        return self.line.n_scatter if self.line is not None else 0

    @property
    def n_scatter(self) -> int:
        points = 3 * sum(i is not None for i in (self.point, self.free)) + len(self.rivals)
        return self.n_line + points + len(self.windows) + 1 + len(self.alone)

    def draw(self, rng: np.random.Generator, n: int) -> tuple[Floats, Floats]:
        errors = self.errors.draw(rng, n)
        scatter = np.empty((self.n_scatter, n))
        rng.standard_normal(out=scatter[self.n_line :])
        if self.line is not None:
            self.line.draw_scatter(rng, scatter[: self.n_line])
        return errors, scatter

    def figures(self, errors: Floats, scatter: Floats) -> Outputs:
        """Figures (n,) by metric name, and the fixed ones of `FIXED_OF`."""
        f = self.errors.factors(errors)
        found: Outputs = {}
        if self.line is not None:
            found |= self._of_line(self.line, f, scatter[: self.n_line])
        take = _taker(scatter, self.n_line)
        if self.table is not None:
            found |= self._of_points(self.table, f, take)
        for name, window in self.windows.items():
            found[name] = window.drawn(f, take(1)[0])
        z = take(1)[0]
        if self.input_held is not None:
            found[M.INPUT_ROTOR_HELD] = self._held(f, z)
        for name, (value, u) in self.alone.items():
            found[name] = value + u * take(1)[0]
        return found

    def _of_line(self, line: DrawnLine, f: Factors, scatter: Floats) -> Outputs:
        c, still = line.coefficients(f, scatter), line.without_error
        found: Outputs = {}

        def fixed(quantity: str, place: Floats) -> Floats:
            return np.asarray(place[0] ** np.arange(c[quantity].shape[0]) @ c[quantity])

        v, top = self._highest(line, c, f, scatter)
        found |= _named(PEAK, read_at(c, v))
        found[M.SHAFT_POWER_MAX_STEADY] = top
        no_error = np.array([line.place.v]) if line.place is not None else highest_power(still)
        found[FIXED_OF[M.SHAFT_POWER_MAX_STEADY]] = fixed(POWER, no_error)
        if INPUT in c:
            found |= _named(BEST, read_at(c, best_efficiency(c)))
            v = best_efficiency(still)
            found[FIXED_OF[M.EFFICIENCY_MAX]] = fixed(POWER, v) / fixed(INPUT, v)
        if CURRENT in c and self.rated_current_a is not None:
            rated = read_at(c, at_current(c, self.rated_current_a))
            of_power = {q: v * f.rated for q, v in rated.values.items() if q in BY_POWER}
            found |= _named(RATED, replace(rated, values=rated.values | of_power))
        return found

    def _highest(
        self, line: DrawnLine, c: Coefficients, f: Factors, scatter: Floats
    ) -> tuple[Floats, Floats]:
        """Label (n,) of the highest power, and the power (n,): by the motor's law, or where the
        curve is highest, give or take what other orders say of the place."""
        if line.place is not None:
            speed = line.place.drawn(line.table, f, scatter)
            v = at_speed(c, speed, line.place.v)
            return v, evaluate(c[POWER], v)
        v = highest_power(c)
        top = evaluate(c[POWER], v)
        if f.place.any():
            v = at_speed(c, evaluate(c[SPEED], v) + f.place, v)
        return v, top

    def _of_points(self, table: PointTable, f: Factors, take: Callable[[int], Floats]) -> Outputs:
        found: Outputs = {}
        if self.point is not None:
            found |= _named(PEAK, _at_point(table, self.point, f, take(3)))
        if self.free is not None:
            at = _at_point(table, self.free, f, take(3)).values
            found[M.FREE_SPEED], found[M.TORQUE_AT_FREE_SPEED] = at[SPEED], at["torque"]
        rivals = list(self.rivals)
        if rivals:
            u = table.u[POWER][rivals]
            power = table.at(rivals).drawn(POWER, f) + u[:, None] * take(len(rivals))
            found[M.SHAFT_POWER_BEST_DWELL] = power[0]
            # Measured powers hold their scatter already; the line's hold less of it.
            smooth = np.array([self.power_by_line.get(i, table.power[i]) for i in rivals])
            power += (smooth - table.power[rivals])[:, None]
            excess = power.max(axis=0) - power[int(np.argmax(smooth))]
            found[EXCESS_OF[M.SHAFT_POWER_BEST_DWELL]] = excess
        return found

    def _held(self, f: Factors, z: Floats) -> Floats:
        value, u = self.input_held or (0.0, 0.0)
        lost = self.held_loss_w
        leads = f.leads * f.gains[Channel.CURRENT] ** 2 * lost
        if self.table is None or self.table.is_input_metered:
            metered = f.gains[Channel.POWER] * (value + lost) + f.offsets[Channel.POWER]
            return metered - leads + u * z
        product = f.gains[Channel.VOLTAGE] * f.gains[Channel.CURRENT]
        metered = product * f.gains[Channel.POWER_FACTOR] * (value + lost)
        return np.asarray(metered - leads + u * z)


def _at_point(table: PointTable, i: int, f: Factors, z: Floats) -> Reading:
    """Every quantity at one load point; z (3, n): scatter of torque, speed, and the electrics."""
    one = table.at(i)
    speed = one.drawn(SPEED, f)[0] + one.u[SPEED][0] * z[1]
    power = one.drawn(POWER, f)[0] + one.u[POWER][0] * z[0]
    values = {SPEED: speed, POWER: power, "torque": power / speed}
    for quantity in (CURRENT, INPUT, FACTOR):
        if one.values(quantity) is not None:
            values[quantity] = one.drawn(quantity, f)[0] + one.u[quantity][0] * z[2]
    if INPUT in values:
        values["efficiency"] = power / values[INPUT]
    return Reading(np.zeros(1), values)


def _named(names: dict[MetricName, str], reading: Reading) -> Outputs:
    return {n: reading.values[q] for n, q in names.items() if q in reading.values}


def _taker(scatter: Floats, start: int) -> Callable[[int], Floats]:
    at = start

    def take(n: int) -> Floats:
        nonlocal at
        at += n
        return scatter[at - n : at]

    return take
