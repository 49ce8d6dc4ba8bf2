"""The load line drawn many times: the coefficients of all curves for given errors.

Every curve is a weighted least squares fit on a design that no error changes, so its coefficients
are one linear operator times the points. A term common to all points goes through the operator
once, and scatter is drawn in the space of the coefficients, where its covariance is known.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from server.model.results import LoadPoint
from server.model.words import Channel
from server.reduction.arrays import Floats
from server.reduction.loadline import COORDINATES, LoadLine, pooled_u
from server.reduction.motors.place import Place
from server.reduction.polynomial import Polynomial
from server.reduction.uncertainty.point_table import (
    CURRENT,
    FACTOR,
    INPUT,
    POWER,
    QUANTITIES,
    SPEED,
    PointTable,
)
from server.reduction.uncertainty.run_errors import Factors

OWN_CURVE = {"input power": INPUT, "current": CURRENT, "speed": SPEED, "torque": ""}
U_FIELDS = {
    POWER: "u_shaft_power_w",
    SPEED: "u_speed_rad_s",
    CURRENT: "u_current_a",
    INPUT: "u_input_power_w",
    FACTOR: "",
}
FEW = 60.0  # degrees of freedom; with more, a t-distribution is a normal one
LEAST_SINGULAR = 1e-6


@dataclass(frozen=True, slots=True)
class DrawnCurve:
    """`operator` (p, N) takes points to coefficients, `scatter` (p, r) standard normal numbers,
    which all curves share, to what scatter does to them."""

    operator: Floats
    scatter: Floats
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True)
class DrawnPlace:
    """Speed (rad/s) of the highest power by the motor's law, and how it answers to the points.

    `by` (N,) by quantity, `by_voltage` to a relative error and to an offset of it; `scatter` (r,)
    as for the curves; `v` the label where it stands without error.
    """

    speed_rad_s: float
    by: dict[str, Floats]
    by_voltage: tuple[float, float]
    scatter: Floats
    v: float

    def drawn(self, table: PointTable, f: Factors, scatter: Floats) -> Floats:
        """(n,) speeds."""
        relative, offset = self.by_voltage
        speed = self.speed_rad_s + f.place + self.scatter @ scatter
        speed += relative * (f.gains[Channel.VOLTAGE] - 1) + offset * f.offsets[Channel.VOLTAGE]
        for quantity, by in self.by.items():
            values = table.values(quantity)
            if values is not None:
                weights, columns = zip(*table.terms(quantity, f), strict=True)
                speed += by @ np.stack(columns, axis=1) @ np.stack(weights) - by @ values
        return np.asarray(speed)


@dataclass(frozen=True, slots=True)
class DrawnLine:
    """All curves of one load line on the same label v in [-1, 1] of load.

    Coefficients are of powers of v: the orders are low, and two bits are lost for each at most.
    `place`: of the highest power, where the motor's law tells it.
    """

    curves: dict[str, DrawnCurve]
    table: PointTable
    n_scatter: int
    without_error: dict[str, Floats]
    place: DrawnPlace | None = None

    @property
    def degrees_of_freedom(self) -> float:
        return min(c.degrees_of_freedom for c in self.curves.values())

    def coefficients(self, factors: Factors, scatter: Floats) -> dict[str, Floats]:
        """(p, n) coefficients of each curve.

        Parameters
        ----------
        factors : (n,) each.
        scatter : (n_scatter, n) standard normal numbers.
        """
        drawn: dict[str, Floats] = {}
        for quantity, curve in self.curves.items():
            weights, columns = zip(*self.table.terms(quantity, factors), strict=True)
            drawn[quantity] = curve.operator @ np.stack(columns, axis=1) @ np.stack(weights)
            drawn[quantity] += curve.scatter @ scatter
        return drawn

    def draw_scatter(self, rng: np.random.Generator, z: Floats) -> None:
        """Fill z (n_scatter, n); few degrees of freedom make it t-distributed."""
        rng.standard_normal(out=z)
        nu = self.degrees_of_freedom
        if nu < FEW:
            z *= np.sqrt(nu / rng.chisquare(nu, z.shape[1]))


def drawn_line(
    line: LoadLine, points: Sequence[LoadPoint], table: PointTable, place: Place | None = None
) -> DrawnLine | None:
    """Prepare a fitted load line for drawing; None where a fit has no finite covariance.

    The place of a point on the line is the reading of one of its own channels. Systematic errors
    of that channel move nothing along the line: the reading is a label, and what is read off is
    how the curves stand to one another. Its scatter moves the point along every curve at once
    (`along`), by the curve's slope.
    """
    x = np.array([COORDINATES[line.coordinate](p) for p in points], dtype=np.float64)
    own_curve = OWN_CURVE[line.coordinate]
    u_x = table.u[own_curve] if own_curve else np.array([p.u_torque_nm or 0.0 for p in points])
    made: dict[str, _Fitted] = {}
    for quantity in QUANTITIES:
        fit, values = curve_of(line, quantity), table.values(quantity)
        if fit is not None and values is not None:
            scatters = table.has(quantity) & (quantity != own_curve)
            spot = _Spot(x, np.where(scatters, -fit.slope_at(x) * u_x, 0.0))
            u_fit = pooled_u([getattr(p, U_FIELDS[quantity], None) for p in points], points, values)
            u_fit[~table.has(quantity)] = np.inf
            u = np.where(scatters, pooled_u(table.u[quantity].tolist(), points, values), 0.0)
            made[quantity] = _fitted(fit, spot, values, u_fit, u, table.n_effective)
    is_finite = all(
        np.isfinite(part).all() for c in made.values() for part in (c.operator, c.own, c.along)
    )
    if not made or not is_finite:
        return None
    moved = None
    if place is not None:
        along = _by(place).get(own_curve, np.zeros_like(x)) * u_x
        moved = _Moved(place, along, _label(line, place))
    return _joined(made, table, moved)


def _by(place: Place) -> dict[str, Floats]:
    return {
        POWER: place.by_power,
        SPEED: place.by_speed,
        CURRENT: place.by_current,
        INPUT: place.by_input,
    }


def _label(line: LoadLine, place: Place) -> float:
    x = line.place_of_speed(place.speed_rad_s, (line.x_low + line.x_high) / 2)
    return line.power.centre if x is None else (x - line.power.centre) / line.power.half_width


def curve_of(line: LoadLine, quantity: str) -> Polynomial | None:
    fits = {
        POWER: line.power,
        SPEED: line.speed,
        CURRENT: line.current,
        INPUT: line.input_power,
        FACTOR: line.power_factor,
    }
    return fits[quantity]


@dataclass(frozen=True, slots=True)
class _Spot:
    """(N,) where the points stand on the line, and what the scatter of that does to a curve."""

    x: Floats
    along: Floats


@dataclass(frozen=True, slots=True)
class _Fitted:
    """`own` and `along` (p, N): what a standard normal number at each point does to the curve,
    `along` by the same numbers for all curves. `noise` (N,): of the quantity itself."""

    operator: Floats
    own: Floats
    along: Floats
    noise: Floats
    degrees_of_freedom: float


@dataclass(frozen=True, slots=True)
class _Moved:
    """The place of the highest power; `along` (N,) as for a curve."""

    place: Place
    along: Floats
    v: float


def _fitted(
    fit: Polynomial, spot: _Spot, values: Floats, u_fit: Floats, u: Floats, n_effective: Floats
) -> _Fitted:
    design = chebyshev.chebvander((spot.x - fit.centre) / fit.half_width, fit.order)
    q, r = np.linalg.qr(design / u_fit[:, None])
    operator = np.linalg.solve(r, q.T) / u_fit[None, :]
    residual = values - design @ (operator @ values)
    is_known = np.isfinite(u_fit)
    spare = max(int(np.count_nonzero(is_known)) - fit.order - 1, 1)
    variance = u**2 + spot.along**2
    is_scattered = variance > 0
    chi2 = float(np.sum(residual[is_scattered] ** 2 / variance[is_scattered]))
    swell = math.sqrt(max(1.0, chi2 / spare))
    freedom = (
        float(spare) if swell > 1.0 else float(np.sum(np.maximum(n_effective[is_known] - 1, 0.0)))
    )
    to_powers = np.array([_powers(row) for row in np.eye(fit.order + 1)]).T
    operator = to_powers @ operator
    return _Fitted(
        operator=operator,
        own=operator * (u * swell)[None, :],
        along=operator * spot.along[None, :],
        noise=u * swell,
        degrees_of_freedom=max(freedom, 3.0) if is_scattered.any() else math.inf,
    )


def _powers(series: Floats) -> Floats:
    """Coefficients of a Chebyshev series as powers, of the same length."""
    found = np.zeros_like(series)
    plain = chebyshev.cheb2poly(series)
    found[: plain.size] = plain
    return found


def _joined(curves: dict[str, _Fitted], table: PointTable, moved: _Moved | None) -> DrawnLine:
    """Bring the scatter of all curves to as few numbers as their joint covariance needs."""
    rows = []
    for k, curve in enumerate(curves.values()):
        own = [np.zeros_like(curve.own)] * len(curves)
        own[k] = curve.own
        rows.append(np.concatenate([curve.along, *own], axis=1))
    if moved is not None:
        by, none = _by(moved.place), np.zeros_like(table.speed)
        noise = [by.get(q, none) * curve.noise for q, curve in curves.items()]
        rows.append(np.concatenate([moved.along, *noise])[None])
    factor = np.concatenate(rows)
    size = np.sqrt(np.sum(factor**2, axis=1))
    unit = np.where(size > 0, size, 1.0)
    left, singular, _ = np.linalg.svd(factor / unit[:, None], full_matrices=False)
    kept = singular > LEAST_SINGULAR * max(float(singular.max(initial=0.0)), 1e-300)
    root = left[:, kept] * singular[kept] * unit[:, None]
    made, still, at = {}, {}, 0
    for quantity, curve in curves.items():
        values = table.values(quantity)
        if values is not None:
            still[quantity] = (curve.operator @ values)[:, None]
        end = at + curve.operator.shape[0]
        made[quantity] = DrawnCurve(curve.operator, root[at:end], curve.degrees_of_freedom)
        at = end
    drawn = None
    if moved is not None:
        place = moved.place
        drawn = DrawnPlace(place.speed_rad_s, _by(place), place.by_voltage, root[at], moved.v)
    return DrawnLine(made, table, int(root.shape[1]), still, drawn)
