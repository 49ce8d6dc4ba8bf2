"""Weighted least squares polynomials on a scaled and centred variable, with covariance."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.polynomial import chebyshev

from server.reduction.arrays import Floats

CONDITION_LIMIT = 1e12


@dataclass(frozen=True, slots=True)
class Polynomial:
    """sum c_k T_k(v), v = (x - centre) / half_width, T_k Chebyshev's; covariance of the c_k.

    `chi2` is the weighted sum of squared residuals over `n_points` points.
    """

    centre: float
    half_width: float
    coefficients: Floats
    covariance: Floats
    chi2: float
    n_points: int

    @property
    def order(self) -> int:
        return int(self.coefficients.size - 1)

    def at(self, x: Floats | float) -> Floats:
        return np.asarray(chebyshev.chebval(self._scaled(x), self.coefficients))

    def u_at(self, x: Floats | float) -> Floats:
        basis = chebyshev.chebvander(np.atleast_1d(self._scaled(x)), self.order)
        variance = np.einsum("ij,jk,ik->i", basis, self.covariance, basis)
        with np.errstate(invalid="ignore"):  # rounding can make it negative: not to be told
            return np.asarray(np.sqrt(variance))

    def slope_at(self, x: Floats | float, degree: int = 1) -> Floats:
        derived = chebyshev.chebder(self.coefficients, degree)
        slope = np.asarray(chebyshev.chebval(self._scaled(x), derived), dtype=np.float64)
        return np.asarray(slope / self.half_width**degree)

    def u_slope_at(self, x: float) -> float:
        columns = [
            chebyshev.chebval(self._scaled(x), chebyshev.chebder(unit))
            for unit in np.eye(self.order + 1)
        ]
        basis = np.array(columns) / self.half_width
        return float(np.sqrt(max(float(basis @ self.covariance @ basis), 0.0)))

    def _scaled(self, x: Floats | float) -> Floats:
        return (np.asarray(x, dtype=np.float64) - self.centre) / self.half_width


def fit_polynomial(x: Floats, y: Floats, u: Floats, *, order: int) -> Polynomial:
    """Fit y(x) by weighted least squares.

    Model:  y = sum_{k=0..order} c_k T_k((x - centre) / half_width), weights 1 / u^2

    Parameters
    ----------
    x, y, u : (n,) abscissa, ordinate and its standard uncertainty (> 0), n > order; infinite
        where there is no reading: such a place counts for the scale of x alone. The covariance is
        inflated by chi2 / (n - order - 1) where that is above one, never shrunk.

    Returns
    -------
    Polynomial, coefficients and covariance (order + 1, order + 1) in the Chebyshev basis.

    Notes
    -----
    Solved by QR of the weighted design matrix: scaling to [-1, 1] and an orthogonal family keep
    its condition number near one, so that conditioning never decides. Checked against the
    certified linear regressions of NIST StRD (tests/outside/test_strd.py).
    """
    (fit,) = fit_polynomials(x, y, u, orders=[order])
    return fit


def fit_polynomials(x: Floats, y: Floats, u: Floats, *, orders: Sequence[int]) -> list[Polynomial]:
    """`fit_polynomial` for each of several orders, by one factorisation.

    The design of a lower order is made of the first columns of a higher one's; so are Q and R, and
    the inverse of R, which is triangular.
    """
    low, high = float(x.min()), float(x.max())
    centre, half_width = (low + high) / 2, (high - low) / 2 or 1.0
    design = chebyshev.chebvander((x - centre) / half_width, max(orders)) / u[:, None]
    q, r = np.linalg.qr(design)
    inverse = np.linalg.solve(r, np.eye(r.shape[0]))
    target = y / u
    n = int(np.count_nonzero(np.isfinite(u)))
    fits = []
    for order in orders:
        terms = slice(order + 1)
        basis, turned, back = design[:, terms], q[:, terms].T, inverse[terms, terms]
        coefficients = back @ (turned @ target)
        # One step of refinement: the residual's own fit, which is rounding only.
        coefficients = coefficients + back @ (turned @ (target - basis @ coefficients))
        residual = target - basis @ coefficients
        chi2 = float(residual @ residual)
        inflation = max(1.0, chi2 / max(n - order - 1, 1))
        covariance = back @ back.T * inflation
        fits.append(Polynomial(centre, half_width, coefficients, covariance, chi2, n))
    return fits


def choose_polynomial(x: Floats, y: Floats, u: Floats, *, max_order: int = 8) -> Polynomial:
    """Fit polynomials of rising order and keep the one the information criterion prefers.

    Model:  QAICc = chi2 / c + 2 p + 2 p (p + 1) / (n - p - 1),  p = order + 1,
            c = max(1, chi2 / (n - p)) of the largest order

    Returns
    -------
    Polynomial of the least QAICc; of two within 1 the lower order.

    Sources
    -------
    QAICc: Burnham and Anderson, Model Selection and Multimodel Inference, 2nd ed., 2.4-2.5
    (cited from memory).
    """
    scored = score_polynomials(x, y, u, max_order=max_order)
    best = min(score for score, _ in scored)
    return next(fit for score, fit in scored if score <= best + 1.0)


def score_polynomials(
    x: Floats, y: Floats, u: Floats, *, max_order: int = 8
) -> list[tuple[float, Polynomial]]:
    """(QAICc, fit) for each order that leaves at least one point beyond the parameters."""
    known = np.isfinite(u)
    n = int(np.count_nonzero(known))
    n_distinct = np.unique(x[known]).size
    orders = range(min(max_order, max(n - 3, 1), n_distinct - 1) + 1)
    fits = fit_polynomials(x, y, u, orders=orders)
    spare = n - fits[-1].order - 1
    c = max(1.0, fits[-1].chi2 / spare) if spare >= 3 else 1.0
    return [(qaicc(fit, c), fit) for fit in fits]


def qaicc(fit: Polynomial, c: float) -> float:
    p = fit.order + 1
    return fit.chi2 / c + 2 * p + 2 * p * (p + 1) / max(fit.n_points - p - 1, 0.5)
