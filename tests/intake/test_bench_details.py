"""Bench-file keys that few runs state: there, back, and unusable ones by name."""

import math

import pytest

from server.errors import UnusableBench
from server.intake import read_bench
from server.intake.bench import bench_from_mapping, bench_to_mapping
from server.model.words import WindingMaterial, WindingStandard

TEXT = """
[rig]
arm = "250 mm"
averaging = "100 ms"
arm_angle = "2 deg"
arm_angle_uncertainty = "0.5 °"
pivot_friction = "0.002 N m"
lead_resistance = "150 mΩ"
lead_resistance_uncertainty = "10 %"

[[instrument]]
channel = "torque"
temperature_coefficient = "0.02 %/K"
reference_temperature = "20 °C"

[run]
ambient = "25 °C"
cold_resistance = "2.00 ohm"
hot_resistance = "2.50 ohm"
resistance_uncertainty = "0.2 %"
cold_temperature = "20 °C"
cold_temperature_uncertainty = "0.5 K"
winding_material = "aluminum"
winding_standard = "IEC 60335"
reference_temperature = "75 °C"
"""


def test_each_key_fills_its_field_in_si() -> None:
    bench = read_bench(TEXT)
    rig, run = bench.rig, bench.run
    assert rig.arm_angle_rad == pytest.approx(math.radians(2))
    assert rig.arm_angle_uncertainty_rad == pytest.approx(math.radians(0.5))
    assert rig.pivot_friction_nm == 0.002
    assert rig.lead_resistance_ohm == pytest.approx(0.15)
    assert rig.lead_resistance_uncertainty_rel == pytest.approx(0.1)
    (sensor,) = rig.instruments
    assert sensor.temperature_coefficient_per_k == pytest.approx(2e-4)
    assert sensor.reference_temperature_k == pytest.approx(293.15)
    assert (run.cold_resistance_ohm, run.hot_resistance_ohm) == (2.0, 2.5)
    assert run.resistance_uncertainty_rel == pytest.approx(0.002)
    assert run.cold_temperature_k == pytest.approx(293.15)
    assert run.cold_temperature_uncertainty_k == 0.5
    assert run.reference_temperature_k == pytest.approx(348.15)
    assert run.winding_material is WindingMaterial.ALUMINIUM
    assert run.winding_standard is WindingStandard.IEC_60335


def test_they_are_written_back_as_typed_and_read_again_the_same() -> None:
    bench = read_bench(TEXT)
    written = bench_to_mapping(bench)
    assert written["rig"]["lead_resistance"] == "150 mΩ"
    assert written["run"]["winding_material"] == "aluminium"
    assert bench_from_mapping(written) == bench


@pytest.mark.parametrize(
    "text", ["0.02 %/K", "200 ppm/°C", "0.0002 /K", "0.02 % of reading per kelvin", "0,02 %/°C"]
)
def test_ways_to_write_a_temperature_coefficient(text: str) -> None:
    part = {"channel": "speed", "temperature_coefficient": text}
    (sensor,) = bench_from_mapping({"instrument": [part]}).rig.instruments
    assert sensor.temperature_coefficient_per_k == pytest.approx(2e-4)


@pytest.mark.parametrize(
    ("section", "key", "value", "word"),
    [
        ("rig", "arm_angle", "90 deg", "no arm"),
        ("rig", "arm_angle", "2 mm", "angle"),
        ("rig", "pivot_friction", "-1 mN m", "negative"),
        ("rig", "lead_resistance", 0.15, "0.15"),
        ("rig", "lead_resistance", "0.15 V", "resistance"),
        ("run", "cold_resistance", "0 ohm", "more than zero"),
        ("run", "winding_material", "silver", "aluminium"),
        ("run", "winding_standard", "UL 1", "IEC 60034"),
    ],
)
def test_what_cannot_be_used_is_named(section: str, key: str, value: object, word: str) -> None:
    with pytest.raises(UnusableBench) as caught:
        bench_from_mapping({section: {key: value}})
    (problem,) = caught.value.problems
    assert problem.field == f"{section}.{key}"
    assert word in problem.message
