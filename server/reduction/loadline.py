"""The load line: every quantity of a run as a smooth curve of one coordinate of load."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from server.model.results import LoadPoint
from server.reduction.arrays import Bools, Floats
from server.reduction.polynomial import (
    Polynomial,
    choose_polynomial,
    qaicc,
    score_polynomials,
)

MIN_POINTS = 5
RELATIVE_FLOOR = 5e-4  # of the largest value: no smooth curve is truer than that
OWN_SCATTER_WEIGHT = 12.0  # pooled scatter counts as this many degrees of freedom
NEIGHBOURS = 5  # on each side
GRID = 801
WIDEST_GAP = 0.5  # of the load seen; a curve across more than that is a guess

COORDINATES: dict[str, Callable[[LoadPoint], float | None]] = {
    "input power": lambda p: p.input_power_w,
    "current": lambda p: p.current_a,
    "speed": lambda p: -p.speed_rad_s,
    "torque": lambda p: p.torque_nm,
}


@dataclass(frozen=True, slots=True)
class LoadLine:
    """Curves over the coordinate `x`, which rises with load from `x_low` to `x_high`.

    `gap`: neighbouring points that lie further apart than half of that, if any.
    """

    coordinate: str
    x_low: float
    x_high: float
    power: Polynomial
    speed: Polynomial
    current: Polynomial | None
    input_power: Polynomial | None
    voltage: Polynomial | None
    power_factor: Polynomial | None
    n_points: int
    n_without_current: int = 0
    n_without_input: int = 0
    n_without_factor: int = 0
    gap: tuple[float, float] | None = None

    def grid(self) -> Floats:
        return np.linspace(self.x_low, self.x_high, GRID)

    def torque_at(self, x: Floats | float) -> Floats:
        return np.asarray(self.power.at(x) / self.speed.at(x))

    def place_of_speed(self, speed_rad_s: float, near: float) -> float | None:
        """Where the line's speed has a value, the place nearest to `near`; None off its ends."""
        x = self.grid()
        over = self.speed.at(x) - speed_rad_s
        crossed = np.flatnonzero(over[:-1] * over[1:] <= 0)
        if crossed.size == 0:
            return None
        i = int(crossed[np.argmin(np.abs(x[crossed] - near))])
        apart = float(over[i] - over[i + 1])
        share = float(over[i]) / apart if apart else 0.0
        return float(x[i] + share * (x[i + 1] - x[i]))


def fit_load_line(points: Sequence[LoadPoint]) -> LoadLine | None:
    """Fit shaft power, speed, current, input power and power factor along the load.

    The coordinate (input power, current, falling speed or torque) is the one over which shaft
    power is fitted best by the information criterion, among those that rise with load.

    Returns
    -------
    LoadLine, or None with fewer than `MIN_POINTS` points at different loads.

    Notes
    -----
    Neutral curves: they assume smoothness alone, no motor model. Torque is power over speed, so
    that the three agree. A load that lacks a reading counts for the other curves (`known_loads`).
    """
    if len(points) < MIN_POINTS:
        return None
    power = np.array([p.shaft_power_w for p in points])
    u_power = pooled_u([p.u_shaft_power_w for p in points], points, power)
    best: tuple[float, str, Floats, Polynomial] | None = None
    scored: list[tuple[str, Floats, list[tuple[float, Polynomial]]]] = []
    for name, read in COORDINATES.items():
        values = [read(p) for p in points]
        if any(v is None for v in values):
            continue
        x = np.array(values, dtype=np.float64)
        if not _rises_with_load(x, points):
            continue
        scored.append((name, x, score_polynomials(x, power, u_power)))
    if not scored:
        return None
    c = min(_inflation(fits) for _, _, fits in scored)
    for name, x, fits in scored:
        for _, fit in fits:
            score = qaicc(fit, c)
            if best is None or score < best[0] - 1.0:
                best = (score, name, x, fit)
    if best is None:
        return None
    _, name, x, fit = best
    return LoadLine(
        coordinate=name,
        x_low=float(x.min()),
        x_high=float(x.max()),
        power=fit,
        speed=_along(x, points, lambda p: p.speed_rad_s, lambda p: p.u_speed_rad_s),
        current=_maybe(x, points, lambda p: p.current_a, lambda p: p.u_current_a),
        input_power=_maybe(x, points, lambda p: p.input_power_w, lambda p: p.u_input_power_w),
        voltage=_maybe(x, points, lambda p: p.voltage_v, lambda p: None),
        power_factor=_maybe(x, points, lambda p: p.power_factor, lambda p: None),
        n_points=len(points),
        n_without_current=sum(p.current_a is None for p in points),
        n_without_input=sum(p.input_power_w is None for p in points),
        n_without_factor=sum(p.power_factor is None for p in points),
        gap=_wide_gap(x),
    )


def scored_power(line: LoadLine, points: Sequence[LoadPoint]) -> list[tuple[float, Polynomial]]:
    """Curves of shaft power of every order over the line's own coordinate, each with its QAICc."""
    x = np.array([COORDINATES[line.coordinate](p) for p in points], dtype=np.float64)
    power = np.array([p.shaft_power_w for p in points])
    return score_polynomials(x, power, pooled_u([p.u_shaft_power_w for p in points], points, power))


def known_loads(
    points: Sequence[LoadPoint], read: Callable[[LoadPoint], float | None]
) -> Bools | None:
    """Which loads have a reading, where a curve may go through those alone; None where it may not.

    It may where the fastest and the slowest load have one, `MIN_POINTS` do, and no gap between them
    is wide: nothing is read off beyond readings.
    """
    known = np.array([read(p) is not None for p in points])
    if known.all():
        return known
    speed = np.array([p.speed_rad_s for p in points])
    ends = known[np.argmin(speed)] and known[np.argmax(speed)]
    if not ends or np.count_nonzero(known) < MIN_POINTS or _wide_gap(speed[known]) is not None:
        return None
    return known


def _wide_gap(x: Floats) -> tuple[float, float] | None:
    order = np.sort(x)
    i = int(np.argmax(np.diff(order)))
    low, high = float(order[i]), float(order[i + 1])
    return (low, high) if high - low > WIDEST_GAP * float(np.ptp(x)) else None


def pooled_u(own: Sequence[float | None], points: Sequence[LoadPoint], values: Floats) -> Floats:
    """Standard uncertainty of each point, its own scatter pooled with that of the others.

    Few effective samples tell their scatter badly: it is averaged with the median scatter per
    effective sample of the ten points nearest in load, which counts as `OWN_SCATTER_WEIGHT`
    degrees of freedom.
    """
    n = np.array([max(p.n_effective, 1.0) for p in points])
    variance = np.array([(u or 0.0) ** 2 for u in own]) * n
    known = np.array([p.n_effective >= 3 and bool(u) for p, u in zip(points, own, strict=True)])
    scale = float(np.max(np.abs(values))) or 1.0
    pooled = _neighbours_median(variance, known, np.array([p.speed_rad_s for p in points]))
    freedom = np.where(known, n - 1, 0.0)
    mixed = (freedom * variance + OWN_SCATTER_WEIGHT * pooled) / (freedom + OWN_SCATTER_WEIGHT)
    return np.asarray(np.sqrt(mixed / n + (RELATIVE_FLOOR * scale) ** 2))


def _neighbours_median(variance: Floats, known: Bools, speed: Floats) -> Floats:
    """For each point the median variance of the known points nearest to it along the load."""
    if not known.any():
        return np.zeros_like(variance)
    order = np.argsort(speed[known], kind="stable")
    at, value = speed[known][order], variance[known][order]
    place = np.searchsorted(at, speed)
    width = min(2 * NEIGHBOURS, value.size)
    low = np.clip(place - NEIGHBOURS, 0, value.size - width)
    around = np.lib.stride_tricks.sliding_window_view(value, width)
    return np.asarray(np.median(around, axis=1)[low])


def _inflation(fits: list[tuple[float, Polynomial]]) -> float:
    last = fits[-1][1]
    spare = last.n_points - last.order - 1
    return max(1.0, last.chi2 / spare) if spare >= 3 else 1.0


def _rises_with_load(x: Floats, points: Sequence[LoadPoint]) -> bool:
    """True where x orders the points as falling speed does, but for near neighbours."""
    if float(np.ptp(x)) <= 0:
        return False
    slow = -np.array([p.speed_rad_s for p in points])
    order = np.argsort(slow, kind="stable")
    sorted_x = x[order]
    back = np.maximum.accumulate(sorted_x) - sorted_x
    return float(back.max()) <= 0.08 * float(np.ptp(x))


def _along(
    x: Floats,
    points: Sequence[LoadPoint],
    read: Callable[[LoadPoint], float | None],
    read_u: Callable[[LoadPoint], float | None],
) -> Polynomial:
    values = np.array([read(p) or 0.0 for p in points], dtype=np.float64)
    u = pooled_u([read_u(p) for p in points], points, values)
    u[[read(p) is None for p in points]] = np.inf
    return choose_polynomial(x, values, u)


def _maybe(
    x: Floats,
    points: Sequence[LoadPoint],
    read: Callable[[LoadPoint], float | None],
    read_u: Callable[[LoadPoint], float | None],
) -> Polynomial | None:
    return None if known_loads(points, read) is None else _along(x, points, read, read_u)
