"""One value from several with stated uncertainties: fixed and random effects."""

from collections.abc import Sequence
from dataclasses import dataclass
from math import fsum, hypot, log, sqrt

# Newton's step at least doubles u^2 + tau^2 until it is near; sizes are limited by `pool`.
MOST_STEPS = 1000
CLOSE_ENOUGH = 1e-13


@dataclass(frozen=True, slots=True)
class WeightedMean:
    """`standard_error` of the mean; `scatter_factor`: sqrt(sum w (x - mean)^2 / (k - 1))."""

    value: float
    standard_error: float
    scatter_factor: float


@dataclass(frozen=True, slots=True)
class Heterogeneity:
    """Spread beside what the stated uncertainties explain; None for a single value."""

    q: float
    i_squared: float | None
    birge_ratio: float | None


def weighted_mean(
    value: Sequence[float], u: Sequence[float], between_variance: float = 0.0
) -> WeightedMean:
    """Mean weighted with the inverse of each value's whole variance.

    Model:  mean = sum(w x) / sum(w),  w = 1 / (u^2 + tau^2),  standard error = 1 / sqrt(sum w)

    Parameters
    ----------
    value, u : k values and their standard uncertainties, in one unit. Where all u and tau^2 are
        zero the plain mean is taken and its standard error is zero.
    between_variance : tau^2; zero gives the fixed-effect mean.

    Returns
    -------
    WeightedMean. The Hartung-Knapp standard error is standard_error * scatter_factor.

    Sources
    -------
    DerSimonian and Laird, Controlled Clinical Trials 7 (1986) 177; Hartung and Knapp, Statistics
    in Medicine 20 (2001) 3875 (both cited from memory).
    """
    weight, mean, scatter = _moments(value, u, between_variance)
    freedom = len(value) - 1
    error = 0.0 if not any(u) and between_variance == 0 else 1 / sqrt(fsum(weight))
    return WeightedMean(mean, error, sqrt(scatter / freedom) if freedom else 0.0)


def heterogeneity(value: Sequence[float], u: Sequence[float]) -> Heterogeneity:
    """Cochran's Q, Higgins' I^2 (a fraction) and the Birge ratio.

    Model:  Q = sum (x - mean)^2 / u^2 about the fixed-effect mean,
            I^2 = max(0, (Q - (k - 1)) / Q),  Birge = sqrt(Q / (k - 1))

    Parameters
    ----------
    value, u : k values and their standard uncertainties, every u above zero.

    Sources
    -------
    Cochran, Biometrics 10 (1954) 101; Higgins and Thompson, Statistics in Medicine 21 (2002) 1539;
    Birge, Physical Review 40 (1932) 207 (cited from memory).
    """
    _, _, q = _moments(value, u, 0.0)
    freedom = len(value) - 1
    if freedom < 1:
        return Heterogeneity(q, None, None)
    return Heterogeneity(q, max(0.0, (q - freedom) / q) if q > 0 else 0.0, sqrt(q / freedom))


def paule_mandel(value: Sequence[float], u: Sequence[float]) -> float:
    """Between-tester variance by Paule and Mandel.

    Model:  tau^2 >= 0 with sum (x - mean)^2 / (u^2 + tau^2) = k - 1, zero where the sum at
            tau^2 = 0 is no larger

    Notes
    -----
    The sum falls and is convex in tau^2, so Newton's steps from zero never pass the root. With
    all u equal it is s^2 - u^2, which for u = s_r / sqrt(n) is ISO 5725-2's between-laboratory
    variance. No distribution is assumed; it makes Hartung and Knapp's factor exactly one.

    Sources
    -------
    Paule and Mandel, J. Res. Natl. Bur. Stand. 87 (1982) 377; the iteration: DerSimonian and
    Kacker, Contemporary Clinical Trials 28 (2007) 105 (cited from memory).
    """
    freedom = len(value) - 1
    if freedom < 1:
        return 0.0
    if not any(u):
        return _plain_variance(value)
    tau2 = 0.0
    for _ in range(MOST_STEPS):
        weight, mean, q = _moments(value, u, tau2)
        if q <= freedom:
            break
        slope = fsum((w * (x - mean)) ** 2 for w, x in zip(weight, value, strict=True))
        step = (q - freedom) / slope
        tau2 += step
        if step <= CLOSE_ENOUGH * tau2:
            break
    return tau2


def dersimonian_laird(value: Sequence[float], u: Sequence[float]) -> float:
    """Between-tester variance by the method of moments.

    Model:  tau^2 = max(0, (Q - (k - 1)) / (sum w - sum w^2 / sum w)),  w = 1 / u^2

    Notes
    -----
    Biased low for few testers; here for comparison with published examples.

    Sources
    -------
    DerSimonian and Laird, Controlled Clinical Trials 7 (1986) 177 (cited from memory).
    """
    freedom = len(value) - 1
    if freedom < 1:
        return 0.0
    if not any(u):
        return _plain_variance(value)
    weight, _, q = _moments(value, u, 0.0)
    total = fsum(weight)
    return max(0.0, (q - freedom) / (total - fsum(w * w for w in weight) / total))


def restricted_likelihood(value: Sequence[float], u: Sequence[float]) -> float:
    """Between-tester variance by restricted maximum likelihood, normal effects assumed.

    Model:  tau^2 >= 0 that maximises
            -(sum log(u^2 + tau^2) + log sum w + sum w (x - mean)^2) / 2

    Notes
    -----
    Fisher's scoring from the Paule-Mandel value; a step that lowers the likelihood is halved.

    Sources
    -------
    Viechtbauer, J. Educational and Behavioral Statistics 30 (2005) 261 (cited from memory).
    """
    if len(value) < 2:
        return 0.0
    if not any(u):
        return _plain_variance(value)
    tau2 = paule_mandel(value, u)
    best = _restricted_log_likelihood(value, u, tau2)
    for _ in range(MOST_STEPS):
        step = _scoring_step(value, u, tau2)
        new = max(0.0, tau2 + step)
        likelihood = _restricted_log_likelihood(value, u, new)
        while likelihood < best - 1e-12 * abs(best) and abs(step) > CLOSE_ENOUGH * (new + tau2):
            step /= 2
            new = max(0.0, tau2 + step)
            likelihood = _restricted_log_likelihood(value, u, new)
        is_close = abs(new - tau2) <= 1e-12 * max(new, tau2)
        tau2, best = new, likelihood
        if is_close:
            break
    return tau2


def zeta_scores(value: Sequence[float], u: Sequence[float]) -> list[float]:
    """How far each value stands from what the others pool to, in standard uncertainties.

    Model:  zeta_i = (x_i - m) / sqrt(u_i^2 + u(m)^2), m and u(m) of the others by Paule and Mandel

    Parameters
    ----------
    value, u : k >= 2 values and their standard uncertainties, every u above zero.

    Notes
    -----
    The value itself is left out of m, else it would draw m towards itself and hide. Of two values
    both have the same distance.

    Sources
    -------
    The zeta score of ISO 13528, there against an assigned value (cited from memory).
    """
    scores = []
    for i, (x, ui) in enumerate(zip(value, u, strict=True)):
        others, of_others = [*value[:i], *value[i + 1 :]], [*u[:i], *u[i + 1 :]]
        rest = weighted_mean(others, of_others, paule_mandel(others, of_others))
        scores.append((x - rest.value) / hypot(ui, rest.standard_error))
    return scores


def _scoring_step(value: Sequence[float], u: Sequence[float], tau2: float) -> float:
    weight, mean, _ = _moments(value, u, tau2)
    total = fsum(weight)
    w2 = fsum(w * w for w in weight)
    w3 = fsum(w * w * w for w in weight)
    spread = fsum((w * (x - mean)) ** 2 for w, x in zip(weight, value, strict=True))
    information = w2 - 2 * w3 / total + (w2 / total) ** 2
    return (spread - total + w2 / total) / information


def _restricted_log_likelihood(value: Sequence[float], u: Sequence[float], tau2: float) -> float:
    weight, _, q = _moments(value, u, tau2)
    return -0.5 * (log(fsum(weight)) - fsum(log(w) for w in weight) + q)


def _moments(
    value: Sequence[float], u: Sequence[float], tau2: float
) -> tuple[list[float], float, float]:
    """Weights, weighted mean and weighted sum of squares about it.

    Where no variance is left at all every weight is one.
    """
    variance = [ui * ui + tau2 for ui in u]
    weight = [1.0] * len(variance) if not any(variance) else [1 / v for v in variance]
    # About the first value, so that a large common part costs no digits.
    origin = value[0]
    total = fsum(weight)
    shift = fsum(w * (x - origin) for w, x in zip(weight, value, strict=True)) / total
    mean = origin + shift
    squares = fsum(w * (x - origin - shift) ** 2 for w, x in zip(weight, value, strict=True))
    return weight, mean, squares


def _plain_variance(value: Sequence[float]) -> float:
    mean = fsum(value) / len(value)
    return fsum((x - mean) ** 2 for x in value) / (len(value) - 1)
