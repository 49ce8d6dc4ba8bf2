"""First-order propagation of uncertainty: the law of JCGM 100, clause 5 and annex G."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np

from server.reduction.arrays import Floats

# Of a standard uncertainty. Small against curvature, large against rounding.
STEP_IN_U = 0.01
SECOND_STEP_IN_U = 0.1
Model = Callable[[Floats], Floats]


@dataclass(frozen=True, slots=True)
class FirstOrder:
    """Outputs (m,), sensitivities (m, n) to the inputs, and the outputs' covariance (m, m)."""

    value: Floats
    sensitivity: Floats
    covariance: Floats

    @property
    def standard_uncertainty(self) -> Floats:
        return np.asarray(np.sqrt(np.maximum(np.diag(self.covariance), 0.0)))

    @property
    def correlation(self) -> Floats:
        u = self.standard_uncertainty
        return np.asarray(self.covariance / np.outer(u, u))


def propagate(model: Model, estimate: Floats, covariance: Floats) -> FirstOrder:
    """Propagate a covariance through a model by its first derivatives.

    Model:  U_y = C U_x C^T,  C_ij = dy_i / dx_j at the estimates

    Parameters
    ----------
    model : (n,) inputs to (m,) outputs, smooth near the estimates.
    estimate, covariance : (n,) and (n, n) of the inputs; correlations are in the covariance.

    Returns
    -------
    FirstOrder. An input of no uncertainty has sensitivity 0: it contributes nothing.

    Sources
    -------
    JCGM 100:2008, 5.1.2, 5.2.2 (correlated inputs); 5.1.3 note 2 (numerical derivatives).
    Several outputs: JCGM 102:2011, 6.2.
    """
    step = STEP_IN_U * np.sqrt(np.maximum(np.diag(covariance), 0.0))
    value = np.atleast_1d(model(estimate))
    sensitivity = np.zeros((value.size, estimate.size))
    for j in np.flatnonzero(step).tolist():
        moved = np.zeros(estimate.size)
        moved[j] = step[j]
        upper, lower = model(estimate + moved), model(estimate - moved)
        sensitivity[:, j] = (np.atleast_1d(upper) - np.atleast_1d(lower)) / (2 * step[j])
    return FirstOrder(value, sensitivity, sensitivity @ covariance @ sensitivity.T)


def second_order_variance(model: Model, estimate: Floats, u: Floats) -> float:
    """What the next terms of the Taylor series add to the variance of one output.

    Model:  sum_ij [ f_ij^2 / 2 + f_i f_ijj ] u_i^2 u_j^2, independent inputs

    Sources
    -------
    JCGM 100:2008, 5.1.2 note (inputs distributed symmetrically about their estimates).
    """
    n = estimate.size
    h = SECOND_STEP_IN_U

    def at(*moves: tuple[int, float]) -> float:
        x = estimate.copy()
        for j, steps in moves:
            x[j] += steps * h * u[j]
        return float(np.atleast_1d(model(x))[0])

    total = 0.0
    for i in range(n):
        first = (at((i, 1)) - at((i, -1))) / 2
        for j in range(n):
            pairs = [((i, a), (j, b)) for a in (1, -1) for b in (1, -1)]
            pp, pm, mp, mm = (at(*pair) for pair in pairs)
            if i == j:
                second = at((i, 1)) - 2 * at() + at((i, -1))
                third = (pp - mm) / 2 - 2 * first
            else:
                second = (pp - pm - mp + mm) / 4
                third = (pp + pm - mp - mm) / 2 - 2 * first
            total += second**2 / 2 / h**4 + first * third / h**4
    return total


def welch_satterthwaite(contributions: Sequence[float], freedoms: Sequence[float]) -> float:
    """Effective degrees of freedom of a combined standard uncertainty.

    Model:  nu = u^4 / sum(u_i^4 / nu_i)

    Parameters
    ----------
    contributions : |c_i| u_i, of independent components.
    freedoms : degrees of freedom of each, infinite allowed.

    Returns
    -------
    Degrees of freedom, infinite where no contribution has a finite number of them. Not for
    correlated inputs: correlated ones go in as one component.

    Sources
    -------
    JCGM 100:2008, G.4.1.
    """
    variance = math.fsum(c * c for c in contributions)
    doubt = math.fsum((c * c) ** 2 / nu for c, nu in zip(contributions, freedoms, strict=True) if c)
    return variance**2 / doubt if doubt > 0 else math.inf


def coverage_factor(degrees_of_freedom: float, coverage: float = 0.95) -> float:
    """Quantile t_p(nu) that makes U = k u an expanded uncertainty.

    Degrees of freedom are truncated to the next lower integer (JCGM 100:2008, G.4.1), at least 1.
    """
    from scipy.special import ndtri, stdtrit

    upper = 0.5 + coverage / 2
    if not math.isfinite(degrees_of_freedom) or degrees_of_freedom > 1e6:
        return float(ndtri(upper))
    return float(stdtrit(max(math.floor(degrees_of_freedom), 1), upper))
