"""Examples H.1, H.2 and H.3 of JCGM 100:2008, to the digits it prints."""

import math
from pathlib import Path

import numpy as np
import pytest

from server.reduction.polynomial import fit_polynomial
from server.reduction.uncertainty.budget import combined, make_budget
from server.reduction.uncertainty.components import Component, Distribution
from server.reduction.uncertainty.propagate import (
    coverage_factor,
    propagate,
    second_order_variance,
    welch_satterthwaite,
)

DATA = Path(__file__).parent / "data" / "gum"


def end_gauge(x: np.ndarray) -> np.ndarray:
    """Length (nm), its inputs in the order of `END_GAUGE`; d has three parts, theta two."""
    ls, d, random, systematic, alpha, d_alpha, theta, swing, d_theta = x
    return np.array(
        [ls + d + random + systematic - ls * (d_alpha * (theta + swing) + alpha * d_theta)]
    )


END_GAUGE = [
    (50_000_623.0, Component("standard", 25.0, Distribution.NORMAL, 18)),
    (215.0, Component("repeated readings", 5.8, Distribution.NORMAL, 24)),
    (0.0, Component("comparator, random", 3.9, Distribution.NORMAL, 5)),
    (0.0, Component("comparator, systematic", 6.7, Distribution.NORMAL, 8)),
    (11.5e-6, Component.within("expansion of the standard", 2e-6)),
    (0.0, Component.within("difference of expansion", 1e-6, degrees_of_freedom=50)),
    (-0.1, Component("mean temperature", 0.2)),
    (0.0, Component.within("swing of temperature", 0.5, Distribution.ARCSINE)),
    (0.0, Component.within("difference of temperature", 0.05, degrees_of_freedom=2)),
]


def test_h1_end_gauge_to_first_order() -> None:
    estimate = np.array([value for value, _ in END_GAUGE])
    components = [c for _, c in END_GAUGE]
    u = np.array([c.standard_uncertainty for c in components])
    result = propagate(end_gauge, estimate, np.diag(u**2))
    assert round(result.value[0]) == 50_000_838
    assert round(result.standard_uncertainty[0]) == 32
    assert result.standard_uncertainty[0] == pytest.approx(31.6639, abs=2e-3)
    u_c, freedom = combined(components, result.sensitivity[0])
    assert u_c == pytest.approx(result.standard_uncertainty[0])
    assert freedom == pytest.approx(16.75, abs=0.05)
    assert coverage_factor(freedom, 0.99) == pytest.approx(2.92, abs=5e-3)
    assert round(coverage_factor(freedom, 0.99) * 31.67) in (92, 93)
    first = make_budget(components, result.sensitivity[0])[0]
    assert first.component == "standard"
    assert first.contribution == pytest.approx(25.0)


def test_h1_comparison_alone_has_25_6_degrees_of_freedom_and_99_percent_is_93_nm() -> None:
    nu = welch_satterthwaite([5.8, 3.9, 6.7], [24, 5, 8])
    assert nu == pytest.approx(25.6, abs=0.2)
    printed = welch_satterthwaite([25, 9.7, 2.9, 16.6], [18, 25.6, 50, 2])
    assert math.floor(printed) == 16
    u = math.hypot(25, 9.7, 2.9, 16.6)
    assert round(u) == 32
    assert round(coverage_factor(printed, 0.99) * 32) == 93


def test_h1_with_second_order_terms_is_34_nm() -> None:
    estimate = np.array([value for value, _ in END_GAUGE])
    u = np.array([c.standard_uncertainty for _, c in END_GAUGE])
    first = propagate(end_gauge, estimate, np.diag(u**2)).standard_uncertainty[0]
    more = second_order_variance(end_gauge, estimate, u)
    assert round(math.sqrt(first**2 + more)) == 34
    assert math.sqrt(more) == pytest.approx(math.hypot(11.7, 1.7), rel=5e-3)


def impedance(x: np.ndarray) -> np.ndarray:
    volts, amperes, angle = x
    z = volts / amperes
    return np.array([z * np.cos(angle), z * np.sin(angle), z])


@pytest.fixture
def readings() -> np.ndarray:
    return np.loadtxt(DATA / "H.2.csv", delimiter=",", skiprows=1)


def test_h2_resistance_and_reactance_with_correlated_inputs(readings: np.ndarray) -> None:
    mean = readings.mean(axis=0)
    covariance = np.cov(readings, rowvar=False) / len(readings)
    assert mean == pytest.approx([4.9990, 19.661e-3, 1.04446])
    assert np.sqrt(np.diag(covariance)) == pytest.approx(
        [3.20936e-3, 9.471008e-6, 7.520638e-4], rel=1e-6
    )
    result = propagate(impedance, mean, covariance)
    assert result.value == pytest.approx([127.732170, 219.846512, 254.259702], abs=1e-6)
    assert result.standard_uncertainty == pytest.approx([0.071071, 0.295582, 0.236336], abs=1e-6)
    r = result.correlation
    assert [r[0, 1], r[0, 2], r[1, 2]] == pytest.approx([-0.588, -0.485, 0.993], abs=5e-4)


def test_h2_second_approach_transforms_each_set_of_readings(readings: np.ndarray) -> None:
    each = np.array([impedance(row) for row in readings])
    assert each.mean(axis=0) == pytest.approx([127.731630, 219.846895, 254.260050], abs=1e-6)
    u = each.std(axis=0, ddof=1) / math.sqrt(len(each))
    assert u == pytest.approx([0.071274, 0.295489, 0.236248], abs=1e-6)


def test_h2_is_wrong_when_the_correlation_is_left_out(readings: np.ndarray) -> None:
    mean = readings.mean(axis=0)
    alone = np.diag(np.var(readings, axis=0, ddof=1) / len(readings))
    u = propagate(impedance, mean, alone).standard_uncertainty
    assert u == pytest.approx([0.195, 0.201, 0.204], abs=5e-4)
    assert u != pytest.approx([0.071, 0.295, 0.236], abs=0.01)


def test_h3_line_of_a_thermometer() -> None:
    t, b = np.loadtxt(DATA / "H.3.csv", delimiter=",", skiprows=1).T
    fit = fit_polynomial(t, b, np.full(t.size, 1e-9), order=1)

    def intercept_and_slope(coefficients: np.ndarray) -> np.ndarray:
        slope = coefficients[1] / fit.half_width
        return np.array(
            [
                coefficients[0] + slope * (20 - fit.centre),
                slope,
                coefficients[0] + slope * (30 - fit.centre),
            ]
        )

    result = propagate(intercept_and_slope, fit.coefficients, fit.covariance)
    assert result.value == pytest.approx([-0.17120379, 0.00218270, -0.1493768], abs=1e-7)
    assert result.standard_uncertainty == pytest.approx(
        [0.0028776, 0.00066794, 0.0041386], abs=1e-7
    )
    assert result.correlation[0, 1] == pytest.approx(-0.930, abs=5e-4)
    s = math.sqrt(fit.chi2 * 1e-18 / (t.size - 2))
    assert s == pytest.approx(0.0035, abs=5e-5)
