"""The fitting code against certified regressions (NIST StRD; data/strd/SOURCES.md).

The digits asserted are those reached with plain float64: log10 relative error of the worst
coefficient, its standard deviation, and the residual standard deviation.
"""

import re
from dataclasses import dataclass
from fractions import Fraction
from math import log10
from pathlib import Path

import numpy as np
import pytest

from server.reduction.polynomial import Polynomial, choose_polynomial, fit_polynomial

FOLDER = Path(__file__).parent / "data" / "strd"
NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[Ee][-+]?\d+)?"


@dataclass(frozen=True)
class Certified:
    x: np.ndarray
    y: np.ndarray
    coefficients: list[float]
    deviations: list[float]
    residual: float


def read(name: str) -> Certified:
    text = (FOLDER / f"{name}.dat").read_text()
    found = re.findall(rf"^\s*B\d+\s+({NUMBER})\s+({NUMBER})\s*$", text, re.MULTILINE)
    residual = re.search(rf"Residual\s+Standard Deviation\s+({NUMBER})", text)
    assert residual is not None
    rows = re.findall(rf"^\s*({NUMBER})\s+({NUMBER})\s*$", text.split("Data:")[-1], re.MULTILINE)
    y, x = np.array(rows, dtype=float).T
    return Certified(
        x, y, [float(b) for b, _ in found], [float(s) for _, s in found], float(residual[1])
    )


def wampler(disturbance: int) -> Certified:
    """Wampler 3, 4 and 5 differ only in how far the disturbance is blown up."""
    exact, third = read("Wampler1"), read("Wampler3")
    y = exact.y + disturbance * (third.y - exact.y)
    scaled = [s * disturbance for s in third.deviations]
    return Certified(exact.x, y, third.coefficients, scaled, third.residual * disturbance)


def power_matrix(fit: Polynomial) -> list[list[Fraction]]:
    """Row k: the coefficients of T_k((x - centre) / half_width) in powers of x, exactly."""
    size = fit.order + 1
    shift, scale = Fraction(-fit.centre), Fraction(fit.half_width)

    def times_v(row: list[Fraction]) -> list[Fraction]:
        moved = [Fraction(0), *row[: size - 1]]
        return [(m + shift * r) / scale for m, r in zip(moved, row, strict=True)]

    one = [Fraction(1)] + [Fraction(0)] * (size - 1)
    rows = [one, times_v(one)]
    while len(rows) < size:
        doubled = times_v(rows[-1])
        rows.append([2 * d - p for d, p in zip(doubled, rows[-2], strict=True)])
    return rows[:size]


def raw_powers(fit: Polynomial) -> list[float]:
    rows = power_matrix(fit)
    sums = [
        sum(Fraction(float(c)) * row[k] for c, row in zip(fit.coefficients, rows, strict=True))
        for k in range(fit.order + 1)
    ]
    return [float(s) for s in sums]


def raw_deviations(fit: Polynomial) -> list[float]:
    """Standard deviations of the raw coefficients, covariance scaled by the residuals alone."""
    spare = fit.n_points - fit.order - 1
    variance = fit.chi2 / spare
    rows = np.array([[float(c) for c in row] for row in power_matrix(fit)])
    covariance = fit.covariance / max(1.0, variance) * variance
    return np.sqrt(np.einsum("ki,kl,li->i", rows, covariance, rows)).tolist()


def digits(value: float, certified: float) -> float:
    if value == certified:
        return 15.0
    scale = abs(certified) if certified else 1.0
    return min(15.0, -log10(abs(value - certified) / scale))


def worst(values: list[float], certified: list[float]) -> float:
    return min(digits(v, c) for v, c in zip(values, certified, strict=True))


# name -> digits of coefficients, of their standard deviations, of the residual's
REACHED = {
    "Norris": (12.5, 12.5, 12.5),
    "Pontius": (12.5, 12.5, 12.5),
    "Filip": (12.5, 12.5, 12.5),
    "Wampler3": (9.5, 12.5, 12.5),
}


@pytest.mark.parametrize("name", REACHED)
def test_certified_regressions_are_reproduced(name: str) -> None:
    certified = read(name)
    order = len(certified.coefficients) - 1
    fit = fit_polynomial(certified.x, certified.y, np.ones_like(certified.y), order=order)
    coefficients, deviations, residual = REACHED[name]
    assert worst(raw_powers(fit), certified.coefficients) >= coefficients
    assert worst(raw_deviations(fit), certified.deviations) >= deviations
    spare = certified.y.size - order - 1
    assert digits((fit.chi2 / spare) ** 0.5, certified.residual) >= residual


@pytest.mark.parametrize(("name", "reached"), [("Wampler1", 9.5), ("Wampler2", 12.5)])
def test_exact_polynomials_come_back_exactly(name: str, reached: float) -> None:
    certified = read(name)
    fit = fit_polynomial(certified.x, certified.y, np.ones_like(certified.y), order=5)
    assert worst(raw_powers(fit), certified.coefficients) >= reached


@pytest.mark.parametrize(("disturbance", "reached"), [(100, 9.0), (10_000, 7.5)])
def test_wampler_with_larger_disturbances(disturbance: int, reached: float) -> None:
    certified = wampler(disturbance)
    fit = fit_polynomial(certified.x, certified.y, np.ones_like(certified.y), order=5)
    assert worst(raw_powers(fit), certified.coefficients) >= reached
    assert worst(raw_deviations(fit), certified.deviations) >= 12.0


def test_a_load_cell_calibration_is_seen_to_be_a_parabola() -> None:
    # Pontius is a load cell calibration; certified as a quadratic.
    certified = read("Pontius")
    u = np.full_like(certified.y, certified.residual)
    assert choose_polynomial(certified.x, certified.y, u).order == 2
