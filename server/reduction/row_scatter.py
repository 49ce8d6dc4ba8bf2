"""How far readings noted one by one scatter: told by what they leave about a smooth curve."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from server.model.bench import Rig
from server.model.results import LoadPoint
from server.model.words import Channel
from server.reduction.arrays import Floats
from server.reduction.polynomial import fit_polynomials
from server.reduction.signals import Signals
from server.reduction.uncertainty.components import rig_errors

HIGHEST_ORDER = 8
ROWS_PER_TERM = 2.0
LEAST_FREEDOM = 2
LIGHT_SHARE = 0.3  # of the largest: smaller readings scatter no less than that share of it

Read = Callable[[LoadPoint], float | None]
QUANTITIES: dict[str, Read] = {
    "input": lambda p: p.input_power_w,
    "current": lambda p: p.current_a,
    "speed": lambda p: p.speed_rad_s,
    "torque": lambda p: p.torque_nm,
    "shaft": lambda p: p.shaft_power_w,
}
# What each is a smooth curve of: the first of these, but itself, that enough rows have.
COORDINATES = ("input", "current", "speed")


@dataclass(frozen=True, slots=True)
class Roundings:
    """Standard uncertainty of a single reading by its resolution, SI."""

    torque_nm: float
    speed_rad_s: float
    current_a: float
    input_w: float


def row_roundings(signals: Signals, rig: Rig) -> Roundings:
    """Half of the last digit either way, as limits (JCGM 100:2008, F.2.2.1)."""
    errors = rig_errors(rig)

    def of(channel: Channel) -> float:
        step = errors.of(channel).resolution
        return 0.0 if step is None else step.standard_uncertainty

    arm = signals.torque_factor if signals.torque_channel is Channel.FORCE else 1.0
    return Roundings(
        torque_nm=of(signals.torque_channel) * arm,
        speed_rad_s=of(Channel.SPEED),
        current_a=of(Channel.CURRENT),
        input_w=of(Channel.POWER),
    )


def with_row_scatter(points: Sequence[LoadPoint], roundings: Roundings) -> tuple[LoadPoint, ...]:
    """Give each row the scatter that all of them show, its rounding at least.

    Model:  u(y) = y s,  s^2 = sum of squared relative residuals about a polynomial / freedom

    Returns
    -------
    The points with `u_*`; `n_effective` is the scatter's degrees of freedom plus one, 1 where
    there are too few rows to tell any.

    Notes
    -----
    One row alone has no scatter. The polynomial's order, up to one term for every two rows, is
    that of least generalised cross-validation; what it can't follow counts as scatter. What is
    left holds the scatter of both quantities.

    Sources
    -------
    Golub, Heath and Wahba, Technometrics 21 (1979) 215 (cited from memory).
    """
    order = min(HIGHEST_ORDER, int(len(points) / ROWS_PER_TERM) - 1)
    freedom = len(points) - order - 1
    if order < 1 or freedom < LEAST_FREEDOM:
        return tuple(_rounded(p, {}, roundings, 1.0) for p in points)
    scatter = {name: _relative_scatter(points, name, order) for name in QUANTITIES}
    return tuple(_rounded(p, scatter, roundings, freedom + 1.0) for p in points)


def _relative_scatter(points: Sequence[LoadPoint], name: str, order: int) -> tuple[float, float]:
    """Relative scatter, and the size below which readings scatter no less than that of it."""
    for coordinate in COORDINATES:
        if coordinate == name:
            continue
        x, y = _columns(points, coordinate, name)
        top = min(order, int(y.size / ROWS_PER_TERM) - 1)
        if top < 1 or y.size - top - 1 < LEAST_FREEDOM or np.unique(x).size <= top:
            continue
        light = LIGHT_SHARE * float(np.max(np.abs(y)))
        if light <= 0:
            return 0.0, 0.0
        size = np.maximum(np.abs(y), light)
        fits = fit_polynomials(x, y, size, orders=range(1, top + 1))
        spare = [y.size - fit.order - 1 for fit in fits]
        # Least generalised cross-validation: neither a curve too stiff nor one through the noise.
        best = min(range(len(fits)), key=lambda k: fits[k].chi2 / spare[k] ** 2)
        return math.sqrt(fits[best].chi2 / spare[best]), light
    return 0.0, 0.0


def _columns(points: Sequence[LoadPoint], *names: str) -> tuple[Floats, ...]:
    """Quantities of the rows that have all of them."""
    rows = [[QUANTITIES[name](p) for name in names] for p in points]
    whole = [row for row in rows if None not in row]
    return tuple(np.array(whole, dtype=np.float64).reshape(-1, len(names)).T)


def _rounded(
    point: LoadPoint,
    scatter: dict[str, tuple[float, float]],
    roundings: Roundings,
    n_effective: float,
) -> LoadPoint:
    def u(name: str, value: float | None, rounding: float) -> float | None:
        relative, light = scatter.get(name, (0.0, 0.0))
        return None if value is None else max(max(abs(value), light) * relative, rounding)

    by_rounding = math.hypot(
        roundings.torque_nm * point.speed_rad_s, roundings.speed_rad_s * point.torque_nm
    )
    u_shaft = u("shaft", point.shaft_power_w, by_rounding) or 0.0
    u_input = u("input", point.input_power_w, roundings.input_w)
    u_efficiency = None
    if point.efficiency is not None and point.input_power_w:
        u_efficiency = math.hypot(u_shaft, point.efficiency * (u_input or 0.0))
        u_efficiency /= abs(point.input_power_w)
    return replace(
        point,
        n_effective=n_effective,
        u_torque_nm=u("torque", point.torque_nm, roundings.torque_nm),
        u_speed_rad_s=u("speed", point.speed_rad_s, roundings.speed_rad_s),
        u_shaft_power_w=u_shaft,
        u_current_a=u("current", point.current_a, roundings.current_a),
        u_input_power_w=u_input,
        u_efficiency=u_efficiency,
    )
