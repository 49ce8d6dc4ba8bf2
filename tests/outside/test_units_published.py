"""Unit factors against their published or exact values."""

import csv
import math
from pathlib import Path

import pytest

from server.units import convert, to_si

_DATA = Path(__file__).parent / "data" / "units" / "conversions.csv"


def _rows() -> list[dict[str, str]]:
    with _DATA.open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", _rows(), ids=lambda r: f"{r['unit']} {r['relative_tolerance']}")
def test_factor_is_the_published_one(row: dict[str, str]) -> None:
    tolerance = float(row["relative_tolerance"])
    assert convert(1.0, row["unit"], row["kind"]) == pytest.approx(float(row["si"]), rel=tolerance)


@pytest.mark.parametrize(
    ("torque", "constant"),
    [
        ("1 N·m", 7120.9092375),
        ("1 lbf·ft", 5252.11312203),
        ("1 lbf·in", 63025.357464),
        ("1 ozf·in", 1008405.7194),
    ],
)
def test_shaft_power_constants_of_the_trade(torque: str, constant: float) -> None:
    """P[hp] = n[r/min] · T / constant, exact constants as every dynamometer sheet prints them."""
    watts = to_si("1000 rpm", "speed") * to_si(torque, "torque")
    assert watts / convert(1.0, "hp", "power") == pytest.approx(1000 / constant, rel=1e-11)


def test_power_from_speed_and_torque_in_si() -> None:
    assert to_si("1 rpm", "speed") * to_si("1 N·m", "torque") == pytest.approx(
        1 / 9.5492965855, rel=1e-11
    )


def test_086_hp_is_about_640_w() -> None:
    """Common practice, no source."""
    assert to_si("0.86 hp", "power") == pytest.approx(641.3, abs=0.1)


def test_temperatures() -> None:
    assert to_si("0 °C", "temperature") == 273.15
    assert to_si("32 °F", "temperature") == pytest.approx(273.15, abs=1e-9)
    assert to_si("212 °F", "temperature") == pytest.approx(373.15, abs=1e-9)
    assert math.isclose(to_si("1 °F", "temperature_difference"), 5 / 9, rel_tol=1e-12)
