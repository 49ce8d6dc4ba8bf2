"""Pooling: what it gives, what it refuses, and what must not change it."""

import math
import random
from statistics import NormalDist

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from server.errors import InvalidSignal
from server.model.pooled import BenchResult, Level, Pooling
from server.reduction.components import variance_components
from server.reduction.consensus import (
    dersimonian_laird,
    paule_mandel,
    restricted_likelihood,
    weighted_mean,
)
from server.reduction.pooling import pool
from server.reduction.ranking import top_k_probability

figures = st.floats(-1e6, 1e6).map(lambda x: round(x, 6))
uncertainties = st.floats(1e-3, 1e4)
stated = st.lists(st.tuples(figures, uncertainties), min_size=1, max_size=9)
repeated = st.lists(st.lists(figures, min_size=1, max_size=4), min_size=1, max_size=7)


def of(pairs: list[tuple[float, float]]) -> list[BenchResult]:
    return [BenchResult(f"t{i}", x, u) for i, (x, u) in enumerate(pairs)]


def cells(values: list[list[float]]) -> list[BenchResult]:
    return [BenchResult(f"t{i}", x) for i, xs in enumerate(values) for x in xs]


def numbers(result: Pooling) -> list[float]:
    found = [
        result.pooled.value, result.pooled.standard_uncertainty, result.pooled.low,
        result.pooled.high, result.between_tester_sd, result.q, result.q_probability,
        result.i_squared, result.birge_ratio, result.repeatability_sd, result.reproducibility_sd,
        result.critical_h, result.critical_k,
    ]  # fmt: skip
    found += [x for t in result.testers for x in (t.value, t.standard_uncertainty, t.sd, t.h, t.k)]
    found += [c.sd for c in result.components]
    return [x for x in found if x is not None]


FIELDS = (
    "between_tester_sd", "q", "q_probability", "i_squared", "birge_ratio", "repeatability_sd",
    "reproducibility_sd", "critical_h", "critical_k",
)  # fmt: skip


@settings(max_examples=60, deadline=None)
@given(st.one_of(stated.map(of), repeated.map(cells)))
def test_always_finite_and_every_gap_has_its_reason(results: list[BenchResult]) -> None:
    found = pool(results)
    assert all(math.isfinite(x) for x in numbers(found))
    for name in FIELDS:
        assert (getattr(found, name) is None) == (name in found.reasons)
    assert (found.pooled.standard_uncertainty is None) == ("standard_uncertainty" in found.reasons)
    assert (found.pooled.low is None) == ("interval" in found.reasons)
    assert all((c.sd is None) == (c.reason is not None) for c in found.components)
    low, high = min(t.value for t in found.testers), max(t.value for t in found.testers)
    assert low - 1e-6 <= found.pooled.value <= high + 1e-6


@settings(max_examples=40, deadline=None)
@given(stated.filter(lambda pairs: len(pairs) > 1), st.randoms(use_true_random=False))
def test_order_shift_and_scale_do_not_matter(
    pairs: list[tuple[float, float]], order: random.Random
) -> None:
    plain = pool(of(pairs))
    mixed = pool(order.sample(of(pairs), len(pairs)))
    moved = pool(of([(8 * x + 4096, 8 * u) for x, u in pairs]))
    size = max(abs(x) for x, _ in pairs) + max(u for _, u in pairs)
    assert mixed.pooled.value == pytest.approx(plain.pooled.value, abs=1e-8 * size)
    assert moved.pooled.value == pytest.approx(
        8 * plain.pooled.value + 4096, abs=1e-7 * (size + 512)
    )
    assert moved.pooled.standard_uncertainty == pytest.approx(
        8 * (plain.pooled.standard_uncertainty or 0), rel=1e-5
    )


@settings(max_examples=60, deadline=None)
@given(stated.filter(lambda pairs: len(pairs) > 1))
def test_paule_and_mandel_make_the_sum_its_degrees_of_freedom(
    pairs: list[tuple[float, float]],
) -> None:
    values, u = [x for x, _ in pairs], [s for _, s in pairs]
    tau2 = paule_mandel(values, u)
    factor = weighted_mean(values, u, tau2).scatter_factor
    assert factor == pytest.approx(1.0, rel=1e-6) if tau2 > 0 else factor <= 1 + 1e-9


def test_estimators_agree_where_all_uncertainties_are_equal() -> None:
    values, u = [10.0, 12.0, 15.0, 11.0], [1.5] * 4
    expected = sum((x - 12.0) ** 2 for x in values) / 3 - 1.5**2
    for estimator in (paule_mandel, dersimonian_laird, restricted_likelihood):
        assert estimator(values, u) == pytest.approx(expected, rel=1e-9)
        assert estimator(values, [9.0] * 4) == 0
        assert estimator(values, [0.0] * 4) == pytest.approx(14 / 3)
        assert estimator([3.0], [1.0]) == 0


def test_very_unequal_uncertainties_still_end_at_the_root() -> None:
    values, u = [0.0, 3.0, 5.0], [1e-12, 1.0, 1e6]
    tau2 = paule_mandel(values, u)
    assert weighted_mean(values, u, tau2).scatter_factor == pytest.approx(1.0, rel=1e-6)
    likely = restricted_likelihood(values, u)
    assert likely >= 0
    assert math.isfinite(likely)


def test_agreement_keeps_the_factor_at_one() -> None:
    found = pool(of([(100.0, 5.0), (100.1, 5.0), (99.9, 5.0)]))
    assert found.between_tester_sd == 0
    assert found.pooled.standard_uncertainty == pytest.approx(5 / math.sqrt(3))
    assert found.pooled.high == pytest.approx(100 + 4.30265273 * 5 / math.sqrt(3))


def test_one_tester_is_shown_as_one() -> None:
    found = pool([BenchResult("a", 640.0, 7.0)])
    assert (found.pooled.value, found.pooled.standard_uncertainty) == (640.0, 7.0)
    assert found.pooled.low is None
    assert found.between_tester_sd is None
    assert "one tester" in found.reasons["interval"]
    several = pool(cells([[640.0, 650.0, 645.0]]))
    assert several.repeatability_sd == pytest.approx(5.0)
    assert several.pooled.standard_uncertainty == pytest.approx(5 / math.sqrt(3))
    assert several.reproducibility_sd is None


def test_two_testers_are_very_wide() -> None:
    found = pool(of([(640.0, 7.0), (655.0, 5.0)]))
    assert found.pooled.high is not None
    assert found.pooled.high - found.pooled.value == pytest.approx(
        12.70620474 * (found.pooled.standard_uncertainty or 0)
    )
    assert found.testers[0].h is None
    assert "two testers" in found.reasons["h"]


def test_single_values_without_uncertainty_pool_by_their_spread() -> None:
    found = pool(cells([[10.0], [12.0], [14.0]]))
    assert found.pooled.value == 12
    assert found.pooled.standard_uncertainty == pytest.approx(2 / math.sqrt(3))
    assert found.reproducibility_sd == pytest.approx(2)
    assert found.between_tester_sd is None
    assert found.q is None


def test_values_all_alike_claim_no_certainty() -> None:
    found = pool(cells([[5.0, 5.0], [5.0, 5.0], [5.0, 5.0]]))
    assert found.pooled.standard_uncertainty is None
    assert "same" in found.reasons["standard_uncertainty"]
    assert found.testers[0].h is None
    assert found.testers[0].k is None


def test_scatter_too_small_for_a_float_is_none() -> None:
    found = pool(cells([[0.0, 1e-160], [5.0, 5.0], [7.0]]))
    assert all(math.isfinite(x) for x in numbers(found))
    assert found.pooled.value == pytest.approx(4.0)


def test_unequal_numbers_follow_iso_5725_2() -> None:
    data = [[10.0, 11.0, 12.0], [14.0, 15.0], [9.0, 9.5, 10.0, 10.5], [13.0]]
    found = pool(cells(data))
    # Clause 7.4 written out by hand for these ten values.
    within = (2 * 1.0**2 + 1 * 0.5 + 3 * (1.25 / 3)) / 6
    mean = (33 + 29 + 39 + 13) / 10
    squares = 3 * (11 - mean) ** 2 + 2 * (14.5 - mean) ** 2 + 4 * (9.75 - mean) ** 2
    squares += (13 - mean) ** 2
    n_mean = (10 - (9 + 4 + 16 + 1) / 10) / 3
    between = (squares / 3 - within) / n_mean
    assert found.repeatability_sd == pytest.approx(math.sqrt(within))
    assert found.reproducibility_sd == pytest.approx(math.sqrt(within + between))
    assert found.testers[3].k is None
    # Each k has its own limit; more runs, less room.
    limits = [t.critical_k for t in found.testers[:3]]
    assert limits[1] > limits[0] > limits[2]
    assert found.components[0].sd == pytest.approx(math.sqrt(between))


def test_readings_of_one_run_are_no_repeats() -> None:
    runs = [("a", "1", (10.0, 12.0)), ("a", "2", (14.0, 16.0)), ("b", "1", (20.0, 22.0))]
    results = [BenchResult(t, x, run=run) for t, run, xs in runs for x in xs]
    found = pool(results)
    assert [t.n for t in found.testers] == [2, 1]
    assert found.testers[0].value == 13
    assert found.repeatability_sd == pytest.approx(math.sqrt(8))


def test_repeats_with_stated_uncertainties_share_the_instruments() -> None:
    found = pool([BenchResult("a", x, 3.0) for x in (10.0, 12.0)] + [BenchResult("b", 11.0, 4.0)])
    # s_r^2 = 2; instruments are not averaged away.
    assert found.testers[0].standard_uncertainty == pytest.approx(math.sqrt(9 + 2 / 2))
    assert found.testers[1].standard_uncertainty == pytest.approx(math.sqrt(16 + 2))


def test_what_testers_share_is_not_averaged_away() -> None:
    pairs = [(100.0, 5.0)] * 16
    apart = pool(of(pairs))
    shared = pool(of(pairs), shared_uncertainty=4.0)
    assert apart.pooled.standard_uncertainty == pytest.approx(5 / 4)
    assert shared.pooled.standard_uncertainty == pytest.approx(math.hypot(3 / 4, 4))
    assert shared.pooled.high is not None
    assert shared.pooled.high - 100 > 1.95 * 4
    for wrong in (6.0, 5.0, -1.0, math.nan):
        with pytest.raises(InvalidSignal, match="shared"):
            pool(of(pairs), shared_uncertainty=wrong)


@pytest.mark.parametrize(
    "results",
    [
        [],
        [BenchResult("a", math.nan)],
        [BenchResult("a", math.inf, 1.0)],
        [BenchResult("a", 1e50, 1.0)],
        [BenchResult("a", 1.0, 0.0)],
        [BenchResult("a", 1.0, -1.0)],
        [BenchResult("a", 1.0, math.nan)],
        [BenchResult("a", 1.0, 1.0), BenchResult("b", 2.0)],
    ],
)
def test_what_can_not_be_pooled_is_refused(results: list[BenchResult]) -> None:
    with pytest.raises(InvalidSignal):
        pool(results)


def test_the_interval_covers_as_it_says() -> None:
    rng = random.Random(20261125)
    n, hits = 1500, 0
    for _ in range(n):
        u = [rng.uniform(0.5, 1.5) for _ in range(6)]
        found = pool(of([(rng.gauss(50.0, 1.0) + rng.gauss(0, s), s) for s in u])).pooled
        assert found.low is not None
        assert found.high is not None
        hits += found.low <= 50.0 <= found.high
    assert 0.94 <= hits / n <= 0.98


def test_a_lone_outlier_is_flagged_and_agreement_is_not() -> None:
    agreeing = [[100.0, 101.0], [100.5, 99.5], [99.0, 100.0], [101.0, 100.2], [100.1, 99.3]]
    assert not any(t.is_flagged for t in pool(cells(agreeing)).testers)
    apart = pool(cells([*agreeing, [130.0, 131.0]]))
    assert [t.tester for t in apart.testers if t.is_h_flagged] == ["t5"]
    wild = pool(cells([*agreeing, [80.0, 120.0]]))
    assert [t.tester for t in wild.testers if t.is_k_flagged] == ["t5"]


def test_few_testers_who_disagree_are_told_by_their_distance() -> None:
    apart = pool(of([(838.0, 8.0), (846.0, 6.0), (905.0, 7.0)]))
    assert [t.is_zeta_flagged for t in apart.testers] == [False, False, True]
    assert not any(t.is_flagged for t in apart.testers)
    two = pool(of([(838.0, 8.0), (868.0, 6.0)]))
    assert [t.zeta for t in two.testers] == pytest.approx([-3.0, 3.0])
    assert all(t.is_zeta_flagged for t in two.testers)
    near = pool(of([(838.0, 8.0), (850.0, 6.0)]))
    assert not any(t.is_zeta_flagged for t in near.testers)


def test_components_of_an_uneven_layout_are_unbiased() -> None:
    rng = random.Random(7)
    truth = {Level.TESTER: 9.0, Level.SPECIMEN: 4.0, Level.RUN: 2.0, Level.READING: 1.0}
    layout = [[2, 1], [3], [1, 2, 2], [2, 2], [1, 3], [2]]  # runs of each specimen of each tester
    sums = dict.fromkeys(truth, 0.0)
    n = 400
    for _ in range(n):
        results = []
        for t, specimens in enumerate(layout):
            of_tester = rng.gauss(0, 3)
            for s, n_runs in enumerate(specimens):
                of_specimen = of_tester + rng.gauss(0, 2)
                for r in range(n_runs):
                    of_run = of_specimen + rng.gauss(0, math.sqrt(2))
                    results += [
                        BenchResult(f"{t}", 100 + of_run + rng.gauss(0, 1), None, f"{s}", f"{r}")
                        for _ in range(1 + (t + r) % 3)
                    ]
        found = {c.level: c for c in variance_components(results)}
        for level in truth:
            sd = found[level].sd
            assert sd is not None
            sums[level] += sd**2
    # Estimates below zero are shown as zero: the upper levels come out a little high.
    assert sums[Level.READING] / n == pytest.approx(1.0, rel=0.05)
    assert sums[Level.RUN] / n == pytest.approx(2.0, rel=0.12)
    assert sums[Level.SPECIMEN] / n == pytest.approx(4.0, rel=0.25)
    assert sums[Level.TESTER] / n == pytest.approx(9.0, rel=0.25)


def test_components_say_what_they_include() -> None:
    found = {c.level: c for c in variance_components(cells([[1.0, 2.0], [5.0, 7.0]]))}
    assert found[Level.TESTER].includes == (Level.SPECIMEN,)
    assert found[Level.RUN].includes == (Level.READING,)
    assert found[Level.RUN].sd == pytest.approx(math.sqrt((0.5 + 2) / 2))
    lone = {c.level: c for c in variance_components([BenchResult("a", 1.0)])}
    assert all(c.sd is None and c.reason for c in lone.values())


def test_scatter_known_within_runs_is_taken_out() -> None:
    results = [BenchResult(t, x, u_within_run=0.5) for t, x in (("a", 1), ("a", 3), ("b", 9))]
    found = {c.level: c for c in variance_components(results)}
    assert found[Level.READING].sd == pytest.approx(0.5)
    assert found[Level.RUN].sd == pytest.approx(math.sqrt(2 - 0.25))
    assert found[Level.RUN].includes == ()


def test_the_top_of_two_is_a_normal_probability() -> None:
    found = top_k_probability([10.0, 9.0], [0.6, 0.8], 1, "ab12", n_draws=200_000)
    assert found[0] == pytest.approx(NormalDist().cdf(1.0), abs=0.004)
    assert sum(found) == pytest.approx(1.0)


def test_equal_figures_share_the_top() -> None:
    found = top_k_probability([5.0] * 8, [1.0] * 8, 3, 1)
    assert found == pytest.approx([3 / 8] * 8, abs=0.015)
    assert sum(found) == pytest.approx(3.0)


def test_the_top_is_the_same_for_the_same_seed() -> None:
    values, u = [1.0, 2.0, 3.0], [1.0, 1.0, 1.0]
    assert top_k_probability(values, u, 1, "ff") == top_k_probability(values, u, 1, 255)
    assert top_k_probability(values, u, 1, "ff") != top_k_probability(values, u, 1, "fe")
    assert top_k_probability(values, [0.0] * 3, 2, 1) == (0.0, 1.0, 1.0)
    assert top_k_probability(values, u, 3, 1) == (1.0, 1.0, 1.0)


def test_few_degrees_of_freedom_make_the_top_less_sure() -> None:
    sure = top_k_probability([12.0, 10.0], [0.5, 0.5], 1, 1)
    unsure = top_k_probability([12.0, 10.0], [0.5, 0.5], 1, 1, degrees_of_freedom=[1, None])
    assert sure[0] > unsure[0] > 0.5


@pytest.mark.parametrize(
    ("values", "u", "k"),
    [([1.0], [1.0, 2.0], 1), ([math.nan, 1.0], [1.0, 1.0], 1), ([1.0, 2.0], [-1.0, 1.0], 1),
     ([1.0, 2.0], [1.0, 1.0], 0)],
)  # fmt: skip
def test_a_rank_of_nonsense_is_refused(values: list[float], u: list[float], k: int) -> None:
    with pytest.raises(InvalidSignal):
        top_k_probability(values, u, k, 1)
