"""Repeatability, reproducibility, and which tester stands out: ISO 5725-2 and ASTM E691."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, replace
from math import fsum, sqrt

from server.model.pooled import PerTester
from server.reduction.quantiles import f_quantile, t_quantile

SIGNIFICANCE = 0.005  # E691's, two-sided for h


@dataclass(frozen=True, slots=True)
class Precision:
    """Standard deviations of one result; None where the layout can't tell.

    `repeatability`: same tester; `between`: of the testers' own levels; `reproducibility`: any
    tester. `repeat_freedom`: degrees of freedom of the first.
    """

    repeatability: float | None
    between: float | None
    reproducibility: float | None
    repeat_freedom: int


def precision(testers: Sequence[PerTester]) -> Precision:
    """Repeatability and reproducibility from each tester's mean, scatter and number of runs.

    Model:  s_r^2 = sum (n_i - 1) s_i^2 / sum (n_i - 1)
            s_L^2 = max(0, (s_d^2 - s_r^2) / n_mean),  s_R^2 = s_L^2 + s_r^2
            s_d^2 = sum n_i (x_i - m)^2 / (p - 1),  m = sum n_i x_i / N
            n_mean = (N - sum n_i^2 / N) / (p - 1)

    Parameters
    ----------
    testers : p cells; n runs, mean and standard deviation of each, numbers of runs may differ.

    Returns
    -------
    Precision. With one run each, s_r is None and s_R the spread of the single results; with one
    tester only s_r can be had.

    Notes
    -----
    With equal n these are E691's formulas: s_R is never below s_r.

    Sources
    -------
    ISO 5725-2:1994, 7.4 (clause cited from memory); ASTM E691. Checked with E691's glucose example
    (tests/outside/test_interlab.py).
    """
    p = len(testers)
    repeated = [t for t in testers if t.sd is not None and t.n > 1]
    freedom = sum(t.n - 1 for t in repeated)
    within = None
    if freedom:
        within = fsum((t.n - 1) * (t.sd or 0.0) ** 2 for t in repeated) / freedom
    repeatability = None if within is None else sqrt(within)
    if p < 2:
        return Precision(repeatability, None, None, freedom)
    total = sum(t.n for t in testers)
    mean = fsum(t.n * t.value for t in testers) / total
    between_mean_square = fsum(t.n * (t.value - mean) ** 2 for t in testers) / (p - 1)
    if within is None:
        return Precision(None, None, sqrt(between_mean_square), 0)
    n_mean = (total - sum(t.n**2 for t in testers) / total) / (p - 1)
    between = max(0.0, (between_mean_square - within) / n_mean)
    return Precision(repeatability, sqrt(between), sqrt(between + within), freedom)


def consistency(testers: Sequence[PerTester]) -> tuple[PerTester, ...]:
    """The same testers with h and k, and whether either is over its critical value.

    Model:  h_i = (x_i - mean) / s, plain mean and standard deviation s of the p means;
            k_i = s_i / s_r

    Returns
    -------
    PerTester for each, in the order given. h is None below three testers (with two it is
    always 0.71) and where all means are the same; k is None for a tester with one run, where only
    one tester has several, and where nothing scatters.

    Notes
    -----
    h is flagged at both sides, k only where the scatter is large. With unequal numbers of runs
    each k has its own critical value.

    Sources
    -------
    ASTM E691; ISO 5725-2:1994, 7.3.1 (clause cited from memory).
    """
    p = len(testers)
    spread = precision(testers)
    h_limit = critical_h(p)
    mean = fsum(t.value for t in testers) / p
    sd = sqrt(fsum((t.value - mean) ** 2 for t in testers) / (p - 1)) if p > 1 else 0.0
    told = []
    for t in testers:
        h = (t.value - mean) / sd if h_limit is not None and sd > 0 else None
        others = spread.repeat_freedom - (t.n - 1)
        k = k_limit = None
        if t.sd is not None and spread.repeatability and others > 0:
            k, k_limit = t.sd / spread.repeatability, _critical_k(t.n - 1, others)
        told.append(
            replace(
                t, h=h, k=k, critical_k=k_limit,
                is_h_flagged=h is not None and h_limit is not None and abs(h) > h_limit,
                is_k_flagged=k is not None and k_limit is not None and k > k_limit,
            )
        )  # fmt: skip
    return tuple(told)


def critical_h(n_testers: int, significance: float = SIGNIFICANCE) -> float | None:
    """Value that |h| exceeds with this probability where nobody stands out, None below three.

    Model:  (p - 1) t / sqrt(p (t^2 + p - 2)),  t = t(1 - significance / 2; p - 2)

    Sources
    -------
    ASTM E691 (0.5 %); the same formula gives ISO 5725-2's tables at 1 % and 5 %.
    """
    p = n_testers
    if p < 3:
        return None
    t = t_quantile(1 - significance / 2, p - 2)
    return (p - 1) * t / sqrt(p * (t * t + p - 2))


def critical_k(n_testers: int, n_runs: int, significance: float = SIGNIFICANCE) -> float | None:
    """Value that k exceeds with this probability where all scatter alike; None where it can't be.

    Model:  sqrt(p / (1 + (p - 1) / F)),  F = F(1 - significance; n - 1, (p - 1)(n - 1))

    Sources
    -------
    ASTM E691 (0.5 %); the same formula gives ISO 5725-2's tables at 1 % and 5 %.
    """
    if n_testers < 2 or n_runs < 2:
        return None
    return _critical_k(n_runs - 1, (n_testers - 1) * (n_runs - 1), significance)


def usual_number(testers: Sequence[PerTester]) -> int:
    """The number of runs that most testers made; the larger of two that are as frequent."""
    counted = Counter(t.n for t in testers)
    return max(counted, key=lambda n: (counted[n], n))


def _critical_k(own: int, others: int, significance: float = SIGNIFICANCE) -> float:
    """For any numbers of runs: k^2 = nu / (nu_own + nu_others / F) with F of own over others."""
    f = f_quantile(1 - significance, own, others)
    return sqrt((own + others) / (own + others / f))
