"""Worked examples of JCGM 106:2012, to the digits it prints."""

import math

import pytest

from server.reduction.uncertainty.conformity import decide, guard_band, probability_between


def test_breakdown_voltage_of_a_zener_diode() -> None:
    p = probability_between(-5.47, 0.05, high=-5.40)
    assert p == pytest.approx(0.919243, abs=1e-6)
    assert round(p, 2) == 0.92


def test_burst_pressure_of_a_container() -> None:
    p = probability_between(509.7, 8.6, low=490.0)
    assert p == pytest.approx(0.989010, abs=1e-6)
    assert round(p, 2) == 0.99
    assert decide(509.7, 8.6, claimed=490.0).probability_reached == pytest.approx(p)


def test_viscosity_of_motor_oil_between_two_limits() -> None:
    p = probability_between(13.6, 1.8, low=12.5, high=16.3)
    assert p == pytest.approx(0.662630, abs=1e-6)
    assert round(p, 2) == 0.66


def test_speed_trap_with_999_per_mille_probability() -> None:
    # u = 0.02 v, so the limit is guarded at v with v - w(v) = 100 km/h.
    v = 100 / (1 - guard_band(0.02, 0.999))
    assert v == pytest.approx(106.588, abs=5e-4)
    assert round(v) == 107
    assert probability_between(v, 0.02 * v, low=100.0) == pytest.approx(0.999)


@pytest.mark.parametrize(
    ("p", "z"), [(0.80, 0.84), (0.90, 1.28), (0.95, 1.64), (0.99, 2.33), (0.999, 3.09)]
)
def test_guard_bands_of_one_sided_limits(p: float, z: float) -> None:
    assert guard_band(1.0, p) == pytest.approx(z, abs=6e-3)


def test_a_guard_band_of_two_u_leaves_at_most_23_per_mille() -> None:
    assert 1 - probability_between(102.0, 1.0, low=100.0) == pytest.approx(0.0228, abs=1e-4)


def test_an_exactly_known_value_reaches_or_does_not() -> None:
    assert probability_between(1800.0, 0.0, low=1800.0) == 1.0
    assert probability_between(1799.0, 0.0, low=1800.0) == 0.0
    assert math.isclose(probability_between(0.0, 1.0), 1.0)
