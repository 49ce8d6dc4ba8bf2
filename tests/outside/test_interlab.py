"""Pooling against standards and published examples (data/interlab/SOURCES.md)."""

import csv
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from server.model.pooled import BenchResult, Level, Pooling
from server.reduction.components import variance_components
from server.reduction.consensus import (
    dersimonian_laird,
    heterogeneity,
    paule_mandel,
    restricted_likelihood,
    weighted_mean,
)
from server.reduction.consistency import critical_h, critical_k
from server.reduction.pooling import pool
from server.reduction.quantiles import t_quantile

FOLDER = Path(__file__).parent / "data" / "interlab"
Estimator = Callable[[list[float], list[float]], float]


def rows(name: str) -> list[dict[str, str]]:
    with (FOLDER / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def glucose(material: str) -> Pooling:
    return pool(
        [
            BenchResult(row["laboratory"], float(row["glucose"]))
            for row in rows("glucose.csv")
            if row["material"] == material
        ]
    )


def log_ratios(name: str, *, of_risks: bool) -> tuple[list[float], list[float]]:
    """Log risk or odds ratios and their standard uncertainties from the four counts."""
    values, u = [], []
    for row in rows(name):
        cells = [float(c) for c in list(row.values())[1:]]
        a, b, c, d = cells
        if name == "clasp.csv":  # events and all, not events and the rest
            b, d = b - a, d - c
        if of_risks:
            values.append(math.log(a / (a + b) / (c / (c + d))))
            u.append(math.sqrt(1 / a - 1 / (a + b) + 1 / c - 1 / (c + d)))
        else:
            values.append(math.log(a * d / (b * c)))
            u.append(math.sqrt(1 / a + 1 / b + 1 / c + 1 / d))
    return values, u


def nine() -> tuple[list[float], list[float]]:
    data = rows("nine.csv")
    return [float(r["value"]) for r in data], [math.sqrt(float(r["variance"])) for r in data]


@pytest.mark.parametrize(
    ("material", "mean", "sd_of_means", "repeatability", "reproducibility"),
    [
        ("A", 41.5183, 0.6061, 1.0632, 1.0632),
        ("D", 194.7171, 2.5950, 2.6251, 3.3657),
        ("E", 294.4921, 2.6931, 3.9350, 4.1923),
    ],
)
def test_e691_glucose(
    material: str, mean: float, sd_of_means: float, repeatability: float, reproducibility: float
) -> None:
    result = glucose(material)
    means = [t.value for t in result.testers]
    spread = math.sqrt(sum((m - sum(means) / 8) ** 2 for m in means) / 7)
    assert result.pooled.value == pytest.approx(mean, abs=5e-5)
    assert spread == pytest.approx(sd_of_means, abs=5e-5)
    assert result.repeatability_sd == pytest.approx(repeatability, abs=5e-5)
    assert result.reproducibility_sd == pytest.approx(reproducibility, abs=5e-5)
    # Equal numbers of replicates: Paule and Mandel's is the standard's between-laboratory sd.
    assert result.between_tester_sd == pytest.approx(
        math.sqrt(max(0.0, spread**2 - repeatability**2 / 3)), abs=2e-4
    )
    assert (result.critical_h, result.critical_k) == pytest.approx((2.15, 2.06), abs=5e-3)
    flagged = [t.tester for t in result.testers if t.is_flagged]
    assert flagged == (["2"] if material == "E" else [])


def test_e691_glucose_laboratory_2_scatters_at_material_e() -> None:
    second = glucose("E").testers[1]
    assert second.k == pytest.approx(2.33, abs=5e-3)
    assert second.is_k_flagged
    assert not second.is_h_flagged


@pytest.mark.parametrize(
    ("p", "n", "h", "k"),
    [(3, 2, 1.15, 1.72), (5, 3, 1.74, 1.92), (6, 2, 1.92, 2.22), (8, 3, 2.15, 2.06),
     (10, 4, 2.29, 1.93)],
)  # fmt: skip
def test_e691_critical_values(p: int, n: int, h: float, k: float) -> None:
    assert critical_h(p) == pytest.approx(h, abs=5e-3)
    assert critical_k(p, n) == pytest.approx(k, abs=5e-3)


@pytest.mark.parametrize("row", rows("iso5725_2_table6.csv"), ids=lambda r: r["laboratories"])
def test_iso_5725_2_indicators_at_one_per_cent(row: dict[str, str]) -> None:
    p, significance = int(row["laboratories"]), float(row["significance"])
    # Some of the printed entries are cut rather than rounded: one unit of the last digit.
    assert critical_h(p, significance) == pytest.approx(float(row["h"]), abs=0.0101)
    for n in range(2, 11):
        assert critical_k(p, n, significance) == pytest.approx(float(row[f"k{n}"]), abs=0.0101)


@pytest.mark.parametrize(
    ("estimator", "tau", "mean", "error"),
    [(dersimonian_laird, 0.2323, -0.3240, 0.1540), (paule_mandel, 0.3681, -0.3811, 0.2060)],
)
def test_clasp_as_published(estimator: Estimator, tau: float, mean: float, error: float) -> None:
    values, u = log_ratios("clasp.csv", of_risks=False)
    tau2 = estimator(values, u)
    pooled = weighted_mean(values, u, tau2)
    assert math.sqrt(tau2) == pytest.approx(tau, abs=5e-5)
    assert pooled.value == pytest.approx(mean, abs=5e-5)
    assert pooled.standard_error == pytest.approx(error, abs=5e-5)


@pytest.mark.parametrize(
    ("of_risks", "estimator", "tau2", "mean", "error"),
    [
        (True, dersimonian_laird, 0.3087602629, -0.7141172221, 0.17874209),
        (True, paule_mandel, 0.3180684522, -0.7149681535, 0.18089219),
        (True, restricted_likelihood, 0.3132433, -0.7145323, 0.1797815),
        (False, dersimonian_laird, 0.3663434067, -0.7473923497, 0.19226285),
        (False, paule_mandel, 0.3412051022, -0.7454603905, 0.18679034),
    ],
)
def test_bcg_by_statsmodels(
    of_risks: bool, estimator: Estimator, tau2: float, mean: float, error: float
) -> None:
    values, u = log_ratios("bcg.csv", of_risks=of_risks)
    found = estimator(values, u)
    pooled = weighted_mean(values, u, found)
    assert found == pytest.approx(tau2, abs=6e-8)
    assert pooled.value == pytest.approx(mean, abs=6e-8)
    assert pooled.standard_error == pytest.approx(error, abs=6e-8)


def test_bcg_heterogeneity_by_statsmodels() -> None:
    values, u = log_ratios("bcg.csv", of_risks=True)
    found = heterogeneity(values, u)
    fixed = weighted_mean(values, u)
    assert found.q == pytest.approx(152.233008, abs=5e-7)
    assert found.i_squared == pytest.approx(0.92117, abs=5e-6)
    assert found.birge_ratio == pytest.approx(3.561753, abs=5e-7)
    assert fixed.value == pytest.approx(-0.43028516, abs=5e-9)
    assert fixed.standard_error == pytest.approx(0.0404988, abs=5e-8)


def test_nine_laboratories_as_published_and_by_metafor() -> None:
    values, u = nine()
    tau2 = paule_mandel(values, u)
    pooled = weighted_mean(values, u, tau2)
    assert math.sqrt(tau2) == pytest.approx(0.8399, abs=5e-5)
    assert tau2 == pytest.approx(0.705395309224248, rel=1e-10)  # its own tolerance 1e-9
    assert pooled.value == pytest.approx(62.4076199113286, rel=1e-12)
    assert pooled.standard_error == pytest.approx(0.338030602684471, rel=1e-10)
    assert heterogeneity(values, u).q == pytest.approx(24.801897741835, rel=1e-11)
    whole = pool(
        [BenchResult(str(i), x, s) for i, (x, s) in enumerate(zip(values, u, strict=True))]
    )
    assert whole.pooled.value == pytest.approx(62.4076199113286, rel=1e-12)
    assert whole.q_probability == pytest.approx(0.00167935146372742, rel=1e-10)


def test_hartung_and_knapp_s_interval_by_metafor() -> None:
    values, u = nine()
    pooled = weighted_mean(values, u, dersimonian_laird(values, u))
    error = pooled.standard_error * pooled.scatter_factor
    half = t_quantile(0.975, 8) * error
    assert pooled.standard_error == pytest.approx(0.245749668040304, rel=1e-12)
    assert error == pytest.approx(0.29477605699879, rel=1e-12)
    assert pooled.value - half == pytest.approx(61.710383798052, rel=1e-12)
    assert pooled.value + half == pytest.approx(63.0698934108488, rel=1e-12)


def test_two_laboratories_by_statsmodels() -> None:
    """tau^2 112.737543, mean 209.040591, standard error 7.508500.

    The two standard uncertainties are worked back from the first two; the third checks.
    """
    difference = 216.55 - 201.533
    both = difference**2 - 2 * 112.737543
    tilt = (201.533 + 216.55 - 2 * 209.040591) / difference * difference**2
    u = [math.sqrt((both - tilt) / 2), math.sqrt((both + tilt) / 2)]
    values = [201.533, 216.55]
    tau2 = paule_mandel(values, u)
    pooled = weighted_mean(values, u, tau2)
    assert tau2 == pytest.approx(112.737543, abs=5e-7)
    assert dersimonian_laird(values, u) == pytest.approx(tau2, rel=1e-12)
    assert pooled.value == pytest.approx(209.040591, abs=5e-7)
    assert pooled.standard_error == pytest.approx(7.508500, abs=5e-7)
    interval = pool([BenchResult("a", values[0], u[0]), BenchResult("b", values[1], u[1])]).pooled
    assert interval.high is not None
    assert interval.high - interval.value == pytest.approx(12.7062047 * 7.5085, rel=1e-6)


def test_turnip_leaves_nested() -> None:
    """Calcium in leaves: 4 plants, 3 leaves each, 2 determinations. Snedecor and Cochran,
    Statistical Methods, nested sampling (data and results cited from memory)."""
    leaves = [
        [(3.28, 3.09), (3.52, 3.48), (2.88, 2.80)],
        [(2.46, 2.44), (1.87, 1.92), (2.19, 2.19)],
        [(2.77, 2.66), (3.74, 3.44), (2.55, 2.55)],
        [(3.78, 3.87), (4.07, 4.12), (3.31, 3.31)],
    ]
    results = [
        BenchResult(f"plant {p}", value, run=f"leaf {i}")
        for p, plant in enumerate(leaves)
        for i, pair in enumerate(plant)
        for value in pair
    ]
    found = {c.level: c for c in variance_components(results)}
    variances = {level: c.sd**2 for level, c in found.items() if c.sd is not None}
    assert variances[Level.TESTER] == pytest.approx(0.3652, abs=5e-5)
    assert variances[Level.RUN] == pytest.approx(0.1611, abs=5e-5)
    assert variances[Level.READING] == pytest.approx(0.0067, abs=5e-5)
    assert [found[level].degrees_of_freedom for level in variances] == [3, 8, 12]
    assert found[Level.SPECIMEN].sd is None
