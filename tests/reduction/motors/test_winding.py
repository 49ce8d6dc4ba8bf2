"""Winding temperature from resistance."""

import pytest

from server.errors import InvalidSignal
from server.model.measured import Measured
from server.reduction.motors.winding import (
    WindingConstant,
    resistance_ratio,
    winding_temperature,
)

ZERO_C = 273.15


def test_the_worked_example() -> None:
    # 1.00 to 1.25 ohm from 20 degrees: 83.625 degrees; with 25 degrees at the end 58.625 K.
    found = winding_temperature(
        cold=Measured(1.0),
        hot=Measured(1.25),
        cold_k=Measured(ZERO_C + 20),
        ambient_k=Measured(ZERO_C + 25),
        standard=WindingConstant.COPPER_IEEE,
    )
    assert found.temperature_k.value - ZERO_C == pytest.approx(83.625, abs=1e-9)
    assert found.rise_k.value == pytest.approx(58.625, abs=1e-9)
    assert found.constant == 234.5
    assert "IEC 60335-1" in found.standard.value


@pytest.mark.parametrize(
    ("standard", "celsius"),
    [
        (WindingConstant.COPPER_IEC_60034, 83.75),
        (WindingConstant.COPPER_IEEE, 83.625),
        (WindingConstant.ALUMINIUM, 81.25),
    ],
)
def test_each_standard_has_its_constant(standard: WindingConstant, celsius: float) -> None:
    found = winding_temperature(
        cold=Measured(2.0), hot=Measured(2.5), cold_k=Measured(ZERO_C + 20), standard=standard
    )
    assert found.temperature_k.value - ZERO_C == pytest.approx(celsius, abs=1e-9)
    assert resistance_ratio(
        from_k=ZERO_C + 20, to_k=found.temperature_k.value, standard=standard
    ) == pytest.approx(1.25, abs=1e-12)


def test_uncertainty_to_first_order() -> None:
    found = winding_temperature(
        cold=Measured(1.0, 0.001),
        hot=Measured(1.25, 0.001),
        cold_k=Measured(ZERO_C + 20, 0.5),
        standard=WindingConstant.COPPER_IEEE,
    )
    by_hot, by_cold, by_start = 254.5 * 0.001, 254.5 * 1.25 * 0.001, 1.25 * 0.5
    assert found.temperature_k.standard_uncertainty == pytest.approx(
        (by_hot**2 + by_cold**2 + by_start**2) ** 0.5, rel=1e-12
    )
    # The cold winding stands for the ambient: its error counts a quarter as much in the rise.
    assert found.rise_k.standard_uncertainty == pytest.approx(
        (by_hot**2 + by_cold**2 + (0.25 * 0.5) ** 2) ** 0.5, rel=1e-12
    )


def test_no_resistance_no_temperature() -> None:
    with pytest.raises(InvalidSignal):
        winding_temperature(
            cold=Measured(0.0),
            hot=Measured(1.0),
            cold_k=Measured(293.0),
            standard=WindingConstant.ALUMINIUM,
        )
