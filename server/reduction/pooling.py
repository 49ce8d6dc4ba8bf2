"""Several testers' results pooled into one figure that says how well they agree."""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import hypot, sqrt

from server.errors import InvalidSignal
from server.model.pooled import BenchResult, PerTester, PooledFigure, Pooling
from server.reduction.components import variance_components
from server.reduction.consensus import (
    WeightedMean,
    heterogeneity,
    paule_mandel,
    weighted_mean,
    zeta_scores,
)
from server.reduction.consistency import (
    SIGNIFICANCE,
    consistency,
    critical_h,
    critical_k,
    precision,
    usual_number,
)
from server.reduction.quantiles import normal_quantile, q_probability, t_quantile
from server.reduction.tester_cells import check_results, gather

COVERAGE = 0.95
# Below five testers h can hardly reach its critical value, however far one stands apart.
ENOUGH_FOR_H = 5
MOST_FOR_ZETA = 30  # the work grows with the square; of so many h tells

ONE_TESTER = "one tester only: no other to compare with"
NO_UNCERTAINTY = "neither standard uncertainties nor repeated values are given"
NO_SCATTER = "repeated values are all the same, so nothing says how sure they are"
NOTHING_VARIES = "all values are the same, so nothing says how sure they are"
ALL_ALIKE = "all testers' means are the same"
ONE_REPEATED = "only one tester gave more than one value"
NO_REPEATS = "no tester gave more than one value"
TWO_TESTERS = "two testers always stand equally far from their mean"

AGREEMENT = ("q", "q_probability", "i_squared", "birge_ratio")
BETWEEN = ("between_tester_sd", "reproducibility_sd")
H = ("h", "critical_h")
K = ("k", "critical_k")
UNCERTAINTY = ("standard_uncertainty", "interval")


def pool(
    results: Sequence[BenchResult], *, shared_uncertainty: float = 0.0, coverage: float = COVERAGE
) -> Pooling:
    """Pool testers by random effects, with what their spread says about their agreement.

    Model:  x_i = m + b_i + e_i, b_i of variance tau^2, e_i of standard deviation u_i
            tau^2 by Paule and Mandel;  m = sum(w x) / sum(w),  w = 1 / (u^2 + tau^2)
            u(m) = max(1, c) / sqrt(sum w),  c^2 = sum w (x - m)^2 / (k - 1)
            interval m +- t(k - 1) u(m)

    Parameters
    ----------
    results : in one unit; standard uncertainties for all or for none. Without them a tester's
        own comes from repeated values: s_r / sqrt(n).
    shared_uncertainty : standard uncertainty of what all testers have in common (an instrument or
        a calibration lent around), contained in each stated one. It is taken out of the weights
        and added to the pooled figure: testers do not average it away.
    coverage : of the interval.

    Returns
    -------
    Pooling. A single tester is shown as one: its own value and uncertainty, no interval. What
    can't be had is None, with a line in `reasons` under the field's name.

    Raises
    ------
    InvalidSignal: no result, a value that is not finite, uncertainties for some only or not above
    zero, a shared one that is no part of every tester's.

    Notes
    -----
    Hartung and Knapp's c is one for Paule and Mandel's tau^2 where that is above zero; where it is
    zero c would narrow the interval, so it is kept at least 1. With two testers t(1) = 12.7: the
    interval says how little two can tell.

    Sources
    -------
    docs/methods/pooling.md. Hartung and Knapp, Statistics in Medicine 20 (2001) 3875; Röver, Knapp
    and Friede, BMC Med. Res. Methodol. 15 (2015) 99 (the factor kept at least 1; cited from
    memory). Checked with published examples in tests/outside/test_interlab.py.
    """
    check_results(results)
    testers = consistency(gather(results))
    u = _own_uncertainties(testers, shared_uncertainty)
    known = u if u is not None and any(u) else [0.0] * len(testers)
    values = [t.value for t in testers]
    tau2 = paule_mandel(values, known)
    pooled = _pooled(testers, weighted_mean(values, known, tau2), shared_uncertainty, coverage)
    reasons = _reasons(testers, u, pooled)
    pooling = _spread(results, testers, pooled, tau2, reasons)
    if "q" in reasons:
        return pooling
    is_stated = results[0].standard_uncertainty is not None
    return _with_agreement(pooling, known, None if is_stated else sum(t.n - 1 for t in testers))


def _spread(
    results: Sequence[BenchResult],
    testers: tuple[PerTester, ...],
    pooled: PooledFigure,
    tau2: float,
    reasons: Mapping[str, str],
) -> Pooling:
    spread = precision(testers)
    return Pooling(
        n_testers=len(testers),
        n_results=len(results),
        pooled=pooled,
        between_tester_sd=None if "between_tester_sd" in reasons else sqrt(tau2),
        repeatability_sd=spread.repeatability,
        reproducibility_sd=spread.reproducibility,
        testers=testers,
        critical_h=critical_h(len(testers)),
        critical_k=None if "critical_k" in reasons else _usual_critical_k(testers),
        components=variance_components(results),
        reasons=reasons,
    )


def _with_agreement(pooling: Pooling, u: Sequence[float], scatter_freedom: int | None) -> Pooling:
    found = heterogeneity([t.value for t in pooling.testers], u)
    return replace(
        pooling,
        testers=_with_zeta(pooling.testers, u),
        q=found.q,
        q_probability=q_probability(found.q, pooling.n_testers - 1, scatter_freedom),
        i_squared=found.i_squared,
        birge_ratio=found.birge_ratio,
    )


def _usual_critical_k(testers: Sequence[PerTester]) -> float | None:
    repeated = [t for t in testers if t.n > 1]
    return critical_k(len(repeated), usual_number(repeated))


def _with_zeta(testers: Sequence[PerTester], u: Sequence[float]) -> tuple[PerTester, ...]:
    if len(testers) > MOST_FOR_ZETA:
        return tuple(testers)
    limit = normal_quantile(1 - SIGNIFICANCE / 2)
    is_few = len(testers) < ENOUGH_FOR_H
    scores = zeta_scores([t.value for t in testers], u)
    return tuple(
        replace(t, zeta=zeta, is_zeta_flagged=is_few and abs(zeta) > limit)
        for t, zeta in zip(testers, scores, strict=True)
    )


def _own_uncertainties(testers: Sequence[PerTester], shared: float) -> list[float] | None:
    """What each tester does not share with the others; None where nothing is known."""
    own = []
    for t in testers:
        if t.standard_uncertainty is None:
            return None
        if shared and not 0 < shared < t.standard_uncertainty:
            raise InvalidSignal("the shared uncertainty must be a part of every tester's whole one")
        own.append(sqrt(t.standard_uncertainty**2 - shared**2))
    return own


def _pooled(
    testers: Sequence[PerTester],
    mean: WeightedMean,
    shared: float,
    coverage: float,
) -> PooledFigure:
    freedom = len(testers) - 1
    if freedom == 0:
        only = testers[0].standard_uncertainty or None
        return PooledFigure(testers[0].value, only, None, None, coverage, None)
    own = mean.standard_error * max(1.0, mean.scatter_factor)
    if own == 0:
        return PooledFigure(mean.value, None, None, None, coverage, None)
    tail = (1 + coverage) / 2
    half = hypot(t_quantile(tail, freedom) * own, normal_quantile(tail) * shared)
    whole = hypot(own, shared)
    return PooledFigure(mean.value, whole, mean.value - half, mean.value + half, coverage, freedom)


def _reasons(
    testers: Sequence[PerTester],
    u: Sequence[float] | None,
    pooled: PooledFigure,
) -> dict[str, str]:
    """Field -> why it is None. The fields h and k stand for those of every tester."""
    spread = precision(testers)
    lines: list[tuple[str, bool, tuple[str, ...]]] = [
        (ONE_TESTER, len(testers) == 1, (*AGREEMENT, *BETWEEN, *H, *K, "interval")),
        (NO_UNCERTAINTY, u is None, (*AGREEMENT, "between_tester_sd")),
        (NO_SCATTER, u is not None and not any(u), AGREEMENT),
        (TWO_TESTERS, len(testers) == 2, H),
        (ALL_ALIKE, all(t.h is None for t in testers), ("h",)),
        (NO_REPEATS, spread.repeatability is None, ("repeatability_sd", *K)),
        (NO_SCATTER, spread.repeatability == 0, K),
        (ONE_REPEATED, all(t.k is None for t in testers), K),
        (NOTHING_VARIES, pooled.standard_uncertainty is None and u is not None, UNCERTAINTY),
        (NO_UNCERTAINTY, pooled.standard_uncertainty is None and u is None, UNCERTAINTY),
    ]
    reasons: dict[str, str] = {}
    for reason, applies, fields in lines:
        for name in fields if applies else ():
            reasons.setdefault(name, reason)
    return reasons
