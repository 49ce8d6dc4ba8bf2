"""The winding's temperature from what a run notes, by closed form."""

import math
from dataclasses import replace

import pytest

from server.model.bench import RunDetails
from server.model.words import WindingMaterial, WindingStandard
from server.reduction import read_winding
from server.wording.winding import show_winding, winding_to_json

ZERO_C = 273.15
NOTED = RunDetails(
    cold_resistance_ohm=2.0,
    hot_resistance_ohm=2.5,
    cold_temperature_k=ZERO_C + 20,
    ambient_k=ZERO_C + 25,
)


@pytest.mark.parametrize(
    ("material", "standard", "constant", "celsius"),
    [
        # t2 = R2 / R1 (k + t1) - k; constants of IEC 60034-1, IEC 60335-1, IEEE 118: from memory.
        (None, None, 235.0, 83.75),
        (WindingMaterial.COPPER, WindingStandard.IEC_60034, 235.0, 83.75),
        (WindingMaterial.COPPER, WindingStandard.IEC_60335, 234.5, 83.625),
        (WindingMaterial.COPPER, WindingStandard.IEEE_118, 234.5, 83.625),
        (WindingMaterial.ALUMINIUM, WindingStandard.IEC_60034, 225.0, 81.25),
        (WindingMaterial.ALUMINIUM, WindingStandard.IEC_60335, 225.0, 81.25),
    ],
)
def test_temperature_and_rise_with_each_standard_s_constant(
    material: WindingMaterial | None,
    standard: WindingStandard | None,
    constant: float,
    celsius: float,
) -> None:
    found = read_winding(replace(NOTED, winding_material=material, winding_standard=standard))
    assert found is not None
    assert found.constant == constant
    assert found.temperature_k is not None
    assert found.temperature_k.value - ZERO_C == pytest.approx(celsius)
    assert found.temperature_k.standard_uncertainty is None
    assert found.rise_k is not None
    assert found.rise_k.value == pytest.approx(celsius - 25)
    told = winding_to_json(found)
    assert told is not None
    assert (told["constant"], told["temperature"]) == (constant, pytest.approx(celsius + ZERO_C))


def test_stated_uncertainties_to_first_order() -> None:
    noted = replace(NOTED, resistance_uncertainty_rel=0.002, cold_temperature_uncertainty_k=0.5)
    found = read_winding(noted)
    assert found is not None
    assert found.temperature_k is not None
    ratio, base = 1.25, 255.0
    expected = math.hypot(math.sqrt(2) * 0.002 * ratio * base, ratio * 0.5)
    assert found.temperature_k.standard_uncertainty == pytest.approx(expected)


def test_a_cold_winding_without_a_temperature_of_its_own_is_as_warm_as_the_ambient() -> None:
    found = read_winding(replace(NOTED, cold_temperature_k=None))
    assert found is not None
    assert found.temperature_k is not None
    assert found.temperature_k.value - ZERO_C == pytest.approx(1.25 * 260 - 235)
    no_ambient = read_winding(replace(NOTED, ambient_k=None))
    assert no_ambient is not None
    assert no_ambient.temperature_k is not None
    assert no_ambient.rise_k is None


@pytest.mark.parametrize(
    ("changes", "word"),
    [
        ({"hot_resistance_ohm": None}, "hot resistance"),
        ({"cold_resistance_ohm": None}, "cold resistance"),
        ({"cold_temperature_k": None, "ambient_k": None}, "ambient"),
    ],
)
def test_what_is_missing_is_the_reason(changes: dict[str, None], word: str) -> None:
    found = read_winding(replace(NOTED, **changes))
    assert found is not None
    assert found.temperature_k is None
    assert found.reason is not None
    assert word in found.reason
    assert word in show_winding(found)[1]


def test_a_run_that_notes_no_resistance_has_none() -> None:
    assert read_winding(RunDetails(ambient_k=295.0)) is None
    assert winding_to_json(None) is None


def test_the_words_name_the_rise_and_whose_constant_it_was() -> None:
    found = read_winding(NOTED)
    assert found is not None
    text, note = show_winding(found)
    assert text.replace("\u00a0", " ") == "83.8 °C"
    assert "IEC 60034-1: 235" in note
    assert "above the ambient" in note
