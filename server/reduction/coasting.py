"""The fit of a speed that falls by drag alone, through integrals rather than slopes."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from server.reduction.arrays import Floats

# Falls of speed: (times, speeds) each.
Pieces = Sequence[tuple[Floats, Floats]]

POWERS = (0, 1, 2)
MOST_CORRELATED = 0.95
LEAST_SLOWER = 1.03  # of the time the same fall takes: less tells no added inertia


@dataclass(frozen=True, slots=True)
class Coast:
    """Deceleration a(w) = k0 + k1 w + k2 w^2 (rad/s^2); `covariance` (3, 3) in that order."""

    coefficients: tuple[float, float, float]
    covariance: Floats
    powers: tuple[int, ...]
    top_rad_s: float
    low_rad_s: float
    degrees_of_freedom: float

    def at(self, speed_rad_s: float) -> float:
        return sum(k * speed_rad_s**p for p, k in enumerate(self.coefficients))

    def slope_at(self, speed_rad_s: float) -> float:
        return self.coefficients[1] + 2 * self.coefficients[2] * speed_rad_s

    def u_at(self, speed_rad_s: float) -> float:
        terms = np.array([speed_rad_s**p for p in POWERS])
        return float(np.sqrt(max(float(terms @ self.covariance @ terms), 0.0)))


@dataclass(frozen=True, slots=True)
class KnownDrag:
    """`u_shape`: how far the inertias of the upper and lower half of the speeds lie apart, beyond
    their scatter, as a standard uncertainty; 0 where they agree."""

    inertia: float
    u_inertia: float
    u_shape: float
    degrees_of_freedom: float


def fit_coast(pieces: Pieces) -> Coast | None:
    """Fit the deceleration against speed to every fall together.

    Model:  w(t) = w_0 - sum over p of k_p integral from t_0 to t of w^p dt, one w_0 for each fall

    Parameters
    ----------
    pieces : times (s) and speeds (rad/s) of each fall, eight samples or more.

    Returns
    -------
    Coast, or None without a fall. Of all sets of terms whose coefficients are not negative the
    one that fits best is taken: all three, less those that would come out negative. The
    covariance is always that of all three, from the residuals with an effective number of samples
    that allows for their autocorrelation: leaving a term out does not make the rest surer.

    Notes
    -----
    The integrals are linear in the unknowns, and averaging in them leaves little of the speed's
    noise; a fit to slopes would enlarge it by the sampling rate.

    Sources
    -------
    Retardation method: IEC 60034-2-2 (scope). Integrals in place of slopes: common practice in
    system identification, no source.
    """
    if not pieces:
        return None
    sets = [s for n in (3, 2, 1) for s in combinations(POWERS, n)]
    fits: list[tuple[tuple[int, ...], _Solved]] = []
    for powers in sets:
        columns = [[-_integral(t, w**p) for p in powers] for t, w in pieces]
        solved = _least_squares(pieces, columns)
        if solved is not None:
            fits.append((powers, solved))
    physical = [(powers, fit) for powers, fit in fits if (fit.values >= 0).all()]
    if not physical:
        return None
    powers, chosen = min(physical, key=lambda pair: pair[1].energy)
    whole = next((fit for powers, fit in fits if len(powers) == len(POWERS)), None)
    return _coast(pieces, powers, chosen, whole)


def fit_known_drag(pieces: Pieces, drag: Callable[[Floats], Floats]) -> KnownDrag | None:
    """Inertia from the falls, with the drag torque known against speed.

    Model:  w(t) = w_0 - (1 / J) integral of T(w) dt, one w_0 for each fall

    Returns
    -------
    KnownDrag, or None where the drag is nowhere more than nothing or the speed does not fall.
    """
    fit = _known_drag(pieces, drag)
    if fit is None:
        return None
    inverse, u_inverse, freedom = fit
    inertia = 1 / inverse
    halves = []
    for is_upper in (True, False):
        parts = [_half(t, w, is_upper=is_upper) for t, w in pieces]
        half = _known_drag([p for p in parts if p[0].size >= 5], drag)
        if half is not None:
            halves.append(half)
    u_shape = 0.0
    if len(halves) == 2:
        (upper, u_upper, _), (lower, u_lower, _) = halves
        apart = abs(1 / upper - 1 / lower)
        noise = np.hypot(u_upper / upper**2, u_lower / lower**2)
        u_shape = apart / np.sqrt(12) if apart > 3 * noise else 0.0
    return KnownDrag(inertia, u_inverse * inertia**2, float(u_shape), freedom)


@dataclass(frozen=True, slots=True)
class Ratio:
    """Inertia without the added one over that with it."""

    value: float
    u: float
    degrees_of_freedom: float


def fit_added(bare: Pieces, heavier: Pieces) -> Ratio | None:
    """Tell how much slower the same drag slows a shaft with an inertia added to it.

    Model:  w(t) = w_0 - s sum over p of k_p integral of w^p dt;  s = 1 bare, s = r with the
            inertia added, r = J / (J + J_added)

    Returns
    -------
    Ratio, its standard uncertainty from the curvature of the sum of squares at its least; None
    where there is none inside (0, 1).

    Notes
    -----
    The drag's own size and shape drop out: it need not be known.
    """
    from scipy.optimize import minimize_scalar

    pieces = [*bare, *heavier]
    integrals = [[-_integral(t, w**p) for p in POWERS] for t, w in pieces]

    def solved(ratio: float) -> _Solved | None:
        scales = [1.0] * len(bare) + [ratio] * len(heavier)
        columns = [[s * c for c in cs] for s, cs in zip(scales, integrals, strict=True)]
        return _least_squares(pieces, columns)

    def energy(ratio: float) -> float:
        fit = solved(ratio)
        return fit.energy if fit is not None else float("inf")

    found = minimize_scalar(energy, bounds=(1e-3, 1 - 1e-3), method="bounded")
    ratio, fit = float(found.x), solved(float(found.x))
    step = 1e-3 * min(ratio, 1 - ratio)
    bend = (energy(ratio + step) - 2 * energy(ratio) + energy(ratio - step)) / step**2
    if fit is None or not 2e-3 < ratio < 1 - 2e-3 or not bend > 0:
        return None
    n = sum(t.size for t, _ in pieces)
    inflation = n / (fit.freedom + len(pieces) + len(POWERS))
    variance = fit.energy / max(n - len(pieces) - len(POWERS) - 1, 1)
    return Ratio(ratio, float(np.sqrt(2 * variance * inflation / bend)), fit.freedom)


def by_pace(pieces: Pieces) -> tuple[Pieces, Pieces] | None:
    """Falls in two groups, fast and slow, by how long the same speeds take; None with one group."""
    if len(pieces) < 2:
        return None
    high = min(float(w.max()) for _, w in pieces)
    low = max(float(w.min()) for _, w in pieces)
    if high <= low:
        return None
    within = [t[(w <= high) & (w >= low)] for t, w in pieces]
    paces = [float(np.ptp(t)) if t.size else 0.0 for t in within]
    order = np.argsort(paces)
    sorted_paces = np.array(paces)[order]
    if sorted_paces[0] <= 0:
        return None
    gap = int(np.argmax(sorted_paces[1:] / sorted_paces[:-1])) + 1
    if sorted_paces[gap] < LEAST_SLOWER * sorted_paces[gap - 1]:
        return None
    return [pieces[i] for i in order[:gap]], [pieces[i] for i in order[gap:]]


@dataclass(frozen=True, slots=True)
class _Solved:
    values: Floats
    covariance: Floats
    freedom: float
    energy: float


def _known_drag(
    pieces: Pieces, drag: Callable[[Floats], Floats]
) -> tuple[float, float, float] | None:
    columns = [[-_integral(t, drag(w))] for t, w in pieces]
    solved = _least_squares(pieces, columns) if pieces else None
    if solved is None or solved.values[0] <= 0:
        return None
    return float(solved.values[0]), float(np.sqrt(solved.covariance[0, 0])), solved.freedom


def _half(t: Floats, w: Floats, *, is_upper: bool) -> tuple[Floats, Floats]:
    middle = (w[0] + w[-1]) / 2
    cut = int(np.argmax(w < middle)) if (w < middle).any() else w.size
    return (t[:cut], w[:cut]) if is_upper else (t[cut:], w[cut:])


def _integral(t: Floats, y: Floats) -> Floats:
    """Running integral of the cubic spline through the samples."""
    from scipy.interpolate import CubicSpline

    return np.asarray(CubicSpline(t, y).antiderivative()(t))


def _least_squares(pieces: Pieces, columns: list[list[Floats]]) -> _Solved | None:
    """One coefficient for each column, common to all pieces; each piece has its own start."""
    n = sum(t.size for t, _ in pieces)
    n_terms = len(columns[0])
    design = np.zeros((n, n_terms + len(pieces)))
    values = np.concatenate([w for _, w in pieces])
    at = 0
    for i, ((t, _), terms) in enumerate(zip(pieces, columns, strict=True)):
        design[at : at + t.size, :n_terms] = np.column_stack(terms)
        design[at : at + t.size, n_terms + i] = 1.0
        at += t.size
    scale = np.sqrt(np.mean(design**2, axis=0))
    if (scale <= 0).any() or n <= design.shape[1] + 1:
        return None
    u, s, vt = np.linalg.svd(design / scale, full_matrices=False)
    if s[-1] < 1e-10 * s[0]:
        return None
    solution = vt.T @ ((u.T @ values) / s) / scale
    residual = values - design @ solution
    energy = float(residual @ residual)
    r = float(residual[1:] @ residual[:-1]) / energy if energy > 0 else 0.0
    r = float(np.clip(r, 0.0, MOST_CORRELATED))
    n_effective = max(n * (1 - r) / (1 + r), design.shape[1] + 1.0)
    freedom = max(n_effective - design.shape[1], 1.0)
    variance = energy / (n - design.shape[1])
    inverse = (vt.T / s**2) @ vt / np.outer(scale, scale)
    covariance = inverse * variance * n / n_effective
    return _Solved(solution[:n_terms], covariance[:n_terms, :n_terms], freedom, energy)


def _coast(
    pieces: Pieces, powers: tuple[int, ...], solved: _Solved, whole: _Solved | None
) -> Coast:
    coefficients, covariance = np.zeros(3), np.zeros((3, 3))
    where = np.array(powers)
    coefficients[where] = solved.values
    if whole is not None:
        covariance = whole.covariance
    else:
        covariance[np.ix_(where, where)] = solved.covariance
    k0, k1, k2 = (float(k) for k in coefficients)
    return Coast(
        coefficients=(k0, k1, k2),
        covariance=covariance,
        powers=powers,
        top_rad_s=max(float(w[0]) for _, w in pieces),
        low_rad_s=min(float(w[-1]) for _, w in pieces),
        degrees_of_freedom=solved.freedom,
    )
