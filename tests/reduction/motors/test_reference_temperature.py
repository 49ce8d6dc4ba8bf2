"""Figures carried to another temperature of the windings."""

from dataclasses import replace

import numpy as np
import pytest

from seed_data.motors import Line, truth, warmed
from server.model.bench import RunDetails
from server.model.words import Channel
from server.reduction import read_winding, winding_reference
from server.reduction.motors.choose import Choice, choose_law
from server.reduction.motors.normalise import Winding, normalise
from server.reduction.motors.observe import observe, run_errors
from server.reduction.motors.winding import WindingConstant
from tests.reduction.motors.bench import GOOD_RIG, M, OnBench, drawn

COPPER = WindingConstant.COPPER_IEC_60034


def choice(case: OnBench) -> Choice:
    observed = observe(case.points, case.plate)
    assert not isinstance(observed, str)
    errors = run_errors(GOOD_RIG, Channel.TORQUE, is_ac=observed.is_ac)
    found = choose_law(observed, case.plate.motor_family, errors)
    assert not isinstance(found, str)
    return found


@pytest.mark.parametrize("family", ["series", "permanent magnet", "induction"])
@pytest.mark.parametrize("seed", [41, 42])
def test_warmer_windings_give_what_the_warmer_motor_gives(family: str, seed: int) -> None:
    case = drawn(family, seed)
    plate_v = case.line.voltage_v / 1.02
    winding = Winding(tested_k=293.15, reference_k=368.15, standard=COPPER)
    assert winding.ratio == pytest.approx((235 + 95) / (235 + 20), rel=1e-12)
    carried = normalise(choice(case).fitted, case.metrics, plate_voltage_v=plate_v, winding=winding)
    there = truth(warmed(case.motor, winding.ratio), Line(plate_v, case.line.frequency_hz))
    expected = {
        M.SHAFT_POWER_MAX_STEADY: there.shaft_power_max_steady,
        M.SPEED_AT_MAX_STEADY_POWER: there.speed_at_max,
        M.TORQUE_AT_MAX_STEADY_POWER: there.torque_at_max,
        M.EFFICIENCY_MAX: there.efficiency_max,
    }
    assert {one.name for one in carried} == set(expected)
    for one in carried:
        assert one.winding_k == 368.15
        assert one.reason is None
        assert one.value == pytest.approx(expected[one.name], rel=0.01), one.name


def test_the_same_temperature_changes_nothing() -> None:
    case = drawn("series", 43)
    fitted = choice(case).fitted
    same = Winding(tested_k=350.0, reference_k=350.0, standard=COPPER)
    with_it = normalise(fitted, case.metrics, plate_voltage_v=case.line.voltage_v, winding=same)
    without = normalise(fitted, case.metrics, plate_voltage_v=case.line.voltage_v)
    assert [w.value for w in with_it] == [w.value for w in without]
    assert {w.winding_k for w in without} == {None}
    assert np.all([w.value is not None for w in without])


def test_an_unsure_winding_temperature_is_in_the_uncertainty() -> None:
    case = drawn("series", 43)
    fitted = choice(case).fitted
    volts = case.line.voltage_v
    by_tested = {}
    for tested_k in (340.0, 340.5):
        winding = Winding(tested_k=tested_k, reference_k=368.15, standard=COPPER)
        found = normalise(fitted, case.metrics, plate_voltage_v=volts, winding=winding)
        by_tested[tested_k] = {one.name: one for one in found}
    unsure = Winding(tested_k=340.0, reference_k=368.15, standard=COPPER, u_tested_k=8.0)
    for one in normalise(fitted, case.metrics, plate_voltage_v=volts, winding=unsure):
        sure = by_tested[340.0][one.name]
        per_kelvin = (by_tested[340.5][one.name].value - sure.value) / 0.5
        assert one.value == sure.value
        assert one.standard_uncertainty == pytest.approx(
            np.hypot(sure.standard_uncertainty, 8.0 * per_kelvin), rel=0.02
        )


def test_a_run_states_the_temperature_and_needs_its_own() -> None:
    noted = RunDetails(
        cold_resistance_ohm=2.0,
        hot_resistance_ohm=2.5,
        cold_temperature_k=293.15,
        cold_temperature_uncertainty_k=0.5,
        reference_temperature_k=348.15,
    )
    found = winding_reference(noted)
    assert found is not None
    assert found.tested_k == pytest.approx(273.15 + 1.25 * 255 - 235)
    assert found.reference_k == 348.15
    assert found.u_tested_k == pytest.approx(1.25 * 0.5)
    assert winding_reference(replace(noted, reference_temperature_k=None)) is None
    alone = RunDetails(reference_temperature_k=348.15)
    assert winding_reference(alone) is None
    reading = read_winding(alone)
    assert reading is not None
    assert reading.reason == "neither the cold nor the hot resistance was noted"
