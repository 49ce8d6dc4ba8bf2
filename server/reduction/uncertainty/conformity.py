"""Does the true value reach a limit? JCGM 106. Scalars only: pages call this on every view."""

import math
from dataclasses import dataclass
from statistics import NormalDist

SUPPORTED_FROM = 0.95
NOT_SUPPORTED_TO = 0.05
SUPPORTED = "supported"
NOT_SUPPORTED = "not supported"
NOT_DECIDED = "not decided"
_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Decision:
    """Probability that the true value reaches the limit, and what is said of it.

    `guard_band` (the value's unit): how far the value must stand from the limit for a verdict.
    """

    probability_reached: float
    verdict: str
    guard_band: float


def probability_between(
    value: float, standard_uncertainty: float, *, low: float = -math.inf, high: float = math.inf
) -> float:
    """Probability that the true value lies within limits.

    Model:  Phi((high - y) / u) - Phi((low - y) / u), normal distribution, flat prior

    Parameters
    ----------
    value, standard_uncertainty : y and u; u = 0 means exactly known.
    low, high : limits in the value's unit; either may be infinite.

    Sources
    -------
    JCGM 106:2012, 7.2 to 7.4.
    """
    if standard_uncertainty <= 0:
        return 1.0 if low <= value <= high else 0.0
    below_high = _phi((high - value) / standard_uncertainty)
    below_low = _phi((low - value) / standard_uncertainty)
    return below_high - below_low


def guard_band(standard_uncertainty: float, probability: float = SUPPORTED_FROM) -> float:
    """How far inside a one-sided limit a value must lie to conform with that probability.

    Model:  w = z_p u  (JCGM 106:2012, 7.3.2 and 8.3.2)
    """
    return _NORMAL.inv_cdf(probability) * standard_uncertainty


def decide(
    value: float, standard_uncertainty: float, *, claimed: float, lower_bound: bool = False
) -> Decision:
    """Set one figure beside a printed one.

    Model:  p = Phi((y - claim) / u);  "supported" p >= 0.95, "not supported" p <= 0.05, else
            "not decided"; one-sided, flat prior

    Parameters
    ----------
    value, standard_uncertainty : y and u of the figure.
    claimed : the printed value.
    lower_bound : the true value may be higher than y by an unknown amount; the probability is
        then a least one, and no claim is called not supported.

    Sources
    -------
    JCGM 106:2012, 7.3 (one-sided interval), 8.3.2 (guarded acceptance).
    """
    p = probability_between(value, standard_uncertainty, low=claimed)
    verdict = NOT_DECIDED
    if p >= SUPPORTED_FROM:
        verdict = SUPPORTED
    elif p <= NOT_SUPPORTED_TO and not lower_bound:
        verdict = NOT_SUPPORTED
    return Decision(p, verdict, guard_band(standard_uncertainty))


def _phi(z: float) -> float:
    if math.isinf(z):
        return 1.0 if z > 0 else 0.0
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
