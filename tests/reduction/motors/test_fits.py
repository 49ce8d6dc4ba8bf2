"""Constants, losses and normalised figures of motors whose equations are known."""

import math
from dataclasses import replace

import numpy as np
import pytest

from seed_data.motors import Line, truth
from server.model.bench import Plate, Rig
from server.model.measured import Metric
from server.model.motor import Identified, LossKind, MotorFit
from server.model.words import MetricName, MotorFamily, Supply
from server.reduction.motors.describe import fit_motor
from server.wording.motor import motor_notes
from tests.reduction.motors.bench import GOOD_RIG, M, OnBench, drawn, every_float

FAMILIES = ("series", "permanent magnet", "induction")
CASES = [(family, seed) for family in FAMILIES for seed in (41, 42, 43, 44)]
NEAR_REL = 0.02  # what the difference of the two physics may do to a constant


def fitted(case: OnBench, **changes: object) -> MotorFit:
    plate = replace(case.plate, **changes) if changes else case.plate
    return fit_motor(case.points, plate=plate, rig=GOOD_RIG, metrics=case.metrics)


def true_constants(case: OnBench) -> dict[str, float]:
    motor = case.motor
    if case.plate.motor_family is MotorFamily.SERIES:
        return {
            "resistance": motor.resistance_ohm,
            "reactance": motor.reactance_ohm,
            "field_constant": motor.k_sat_vs,
            "saturation_current": motor.knee_a,
        }
    if case.plate.motor_family is MotorFamily.PERMANENT_MAGNET:
        return {"resistance": motor.resistance_ohm, "field_constant": motor.k_vs}
    return {
        "stator_resistance": motor.r1_ohm,
        "rotor_resistance": motor.r2_ohm,
        "leakage_reactance": (motor.x1_ohm + motor.x2_ohm) / 2,
        "magnetising_reactance": motor.xm_ohm,
    }


@pytest.mark.parametrize(("family", "seed"), CASES)
def test_constants_come_out_as_they_were_put_in(family: str, seed: int) -> None:
    case = drawn(family, seed)
    found = fitted(case)
    assert found.reason is None
    assert found.family is case.plate.motor_family
    for name, value in true_constants(case).items():
        parameter = found.by_name[name]
        allowed = 3 * parameter.standard_uncertainty + NEAR_REL * value
        assert parameter.value == pytest.approx(value, abs=allowed), name
        assert parameter.identified is Identified.FIXED


@pytest.mark.parametrize(("family", "seed"), CASES)
def test_losses_add_up_to_input_less_output(family: str, seed: int) -> None:
    case = drawn(family, seed)
    found = fitted(case)
    assert len(found.losses) == len(case.points)
    ratios = []
    for at in found.losses:
        parts = sum(p.power_w for p in at.parts)
        assert at.input_power_w - at.shaft_power_w == pytest.approx(parts + at.beyond_w, rel=1e-12)
        assert all(p.power_w >= 0 for p in at.parts)
        ratios.append(at.beyond_w / at.u_beyond_w)
    assert max(abs(r) for r in ratios) < 4
    assert float(np.sqrt(np.mean(np.square(ratios)))) < 1.6


@pytest.mark.parametrize(("family", "seed"), CASES)
def test_every_kind_of_loss_is_there_once(family: str, seed: int) -> None:
    found = fitted(drawn(family, seed))
    kinds = [kind for part in found.losses[0].parts for kind in part.kinds]
    without = {LossKind.BRUSH} if family == "induction" else set()
    assert sorted(kinds) == sorted(set(LossKind) - without)


@pytest.mark.parametrize("seed", [41, 42, 43, 44])
def test_a_series_motors_iron_is_one_with_friction_and_windage(seed: int) -> None:
    found = fitted(drawn("series", seed))
    together = [p for p in found.losses[0].parts if LossKind.IRON in p.kinds]
    assert len(together) == 1
    assert LossKind.ROTATION in together[0].kinds


@pytest.mark.parametrize(("family", "seed"), CASES)
@pytest.mark.parametrize("over", [1.04, 0.97])
def test_figures_carried_to_plate_voltage(family: str, seed: int, over: float) -> None:
    case = drawn(family, seed)
    plate_v = case.line.voltage_v / over
    found = fitted(case, voltage_v=plate_v)
    at_plate = truth(case.motor, Line(plate_v, case.line.frequency_hz))
    expected = {
        M.SHAFT_POWER_MAX_STEADY: at_plate.shaft_power_max_steady,
        M.SPEED_AT_MAX_STEADY_POWER: at_plate.speed_at_max,
        M.TORQUE_AT_MAX_STEADY_POWER: at_plate.torque_at_max,
        M.EFFICIENCY_MAX: at_plate.efficiency_max,
    }
    carried = {n.name: n for n in found.normalised}
    assert set(carried) == set(expected)
    for name, value in expected.items():
        one = carried[name]
        assert one.reason is None, name
        assert one.basis == "normalised"
        assert one.as_tested == case.metrics[name].value
        # The models differ in how the losses grow with speed, which moves the best efficiency.
        assert one.value == pytest.approx(value, rel=5e-3), name
        assert one.standard_uncertainty is not None
        assert one.standard_uncertainty < 0.01 * value


def test_nothing_is_carried_more_than_a_tenth() -> None:
    case = drawn("series", 41)
    found = fitted(case, voltage_v=case.line.voltage_v / 1.13)
    assert found.normalised
    for one in found.normalised:
        assert one.value is None
        assert one.reason == "more than 10 % from plate voltage"


def test_a_lower_bound_is_not_carried() -> None:
    case = drawn("series", 41)
    bound = {M.SHAFT_POWER_MAX_STEADY: Metric(M.SHAFT_POWER_MAX_STEADY, 500.0, 1.0, True)}
    found = fit_motor(case.points, plate=case.plate, rig=GOOD_RIG, metrics=bound)
    assert found.normalised[0].reason == "as tested only a lower bound"


def test_one_or_two_revolving_fields_is_told_by_the_data() -> None:
    for seed in (41, 42, 43, 44, 45, 46):
        case = drawn("induction", seed)
        found = fitted(case)
        said = "two" if case.motor.backward else "one"
        assert found.model == f"induction, {said} revolving field{'s' if said == 'two' else ''}"
        assert found.runner_up is not None
        assert found.runner_up.criterion_above_chosen > 10


def test_pull_out_torque_and_slip_are_those_of_the_motor() -> None:
    case = drawn("induction", 43)
    found = fitted(case)
    line = Line(case.line.voltage_v, case.line.frequency_hz)
    slip = np.linspace(0.002, 1, 4000)
    sync = case.motor.synchronous(line)
    torque = case.motor.operate(sync * (1 - slip), line.voltage_v, line).torque_nm
    best = int(np.argmax(torque))
    assert found.by_name["pull_out_torque"].value == pytest.approx(torque[best], rel=0.01)
    assert found.by_name["pull_out_slip"].value == pytest.approx(slip[best], rel=0.02)
    assert found.by_name["pull_out_slip"].is_derived


def test_a_wrong_family_on_the_plate_is_said() -> None:
    case = drawn("series", 41)
    found = fitted(case, motor_family=MotorFamily.PERMANENT_MAGNET)
    assert found.family is MotorFamily.PERMANENT_MAGNET
    assert min(s.criterion_above_chosen for s in found.scores) < -10
    assert any("another family fits better" in note for note in motor_notes(found))


def test_what_practice_said_is_not_called_measured() -> None:
    found = fitted(drawn("series", 41))
    assert found.by_name["brush_drop"].identified is Identified.ASSUMED


def test_one_false_reading_hardly_moves_the_constants() -> None:
    case = drawn("series", 42)
    spoilt = replace(case.points[7], torque_nm=1.4 * case.points[7].torque_nm)
    points = (*case.points[:7], spoilt, *case.points[8:])
    sound = fitted(case)
    found = fit_motor(points, plate=case.plate, rig=GOOD_RIG)
    for name in ("resistance", "field_constant", "saturation_current", "reactance"):
        a, b = sound.by_name[name], found.by_name[name]
        assert abs(a.value - b.value) < 2 * a.standard_uncertainty, name
    torque = next(r for r in found.residuals if r.channel.value == "torque")
    assert min(torque.weight) < 0.3


def test_beyond_the_data_is_marked() -> None:
    case = drawn("series", 41)
    curve = fitted(case).curve
    assert curve is not None
    slowest, fastest = case.points[0].speed_rad_s, case.points[-1].speed_rad_s
    for speed, is_beyond in zip(curve.speed_rad_s, curve.is_beyond, strict=True):
        assert is_beyond == (not slowest <= speed <= fastest)
    assert any(curve.is_beyond)
    assert not all(curve.is_beyond)


def test_the_same_points_give_the_same_fit() -> None:
    case = drawn("permanent magnet", 42)
    assert fitted(case) == fitted(case)


def test_order_of_the_points_does_not_matter() -> None:
    case = drawn("series", 43)
    turned = fit_motor(
        tuple(reversed(case.points)), plate=case.plate, rig=GOOD_RIG, metrics=case.metrics
    )
    for one in fitted(case).parameters:
        assert turned.by_name[one.name].value == pytest.approx(one.value, rel=1e-6)


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"motor_family": MotorFamily.UNKNOWN}, "family is not known"),
        ({"supply": None}, "AC or DC"),
        ({"frequency_hz": None, "motor_family": MotorFamily.INDUCTION}, "mains frequency"),
        ({"supply": Supply.DC, "motor_family": MotorFamily.INDUCTION}, "mains frequency"),
    ],
)
def test_what_the_plate_lacks_is_a_reason(change: dict[str, object], reason: str) -> None:
    found = fitted(drawn("series", 41), **change)
    assert found.model is None
    assert found.reason is not None
    assert reason in found.reason


def test_what_the_log_lacks_is_a_reason() -> None:
    case = drawn("series", 41)
    for field in ("current_a", "input_power_w"):
        points = tuple(replace(p, **{field: None}) for p in case.points)
        assert fit_motor(points, plate=case.plate, rig=Rig()).reason is not None
    few = fit_motor(case.points[:5], plate=case.plate, rig=Rig())
    assert few.reason == "fewer than 6 load points"
    assert fit_motor((), plate=case.plate, rig=Rig()).reason == "fewer than 6 load points"


@pytest.mark.parametrize("seed", range(12))
def test_odd_points_give_finite_numbers_or_a_reason(seed: int) -> None:
    rng = np.random.default_rng(seed)
    case = drawn(FAMILIES[seed % 3], 41 + seed)
    points = tuple(
        replace(
            p,
            torque_nm=float(p.torque_nm * rng.normal(1, 2)),
            current_a=float(abs(p.current_a or 0) * rng.lognormal(0, 1) + 1e-6),
            input_power_w=float(abs(p.input_power_w or 0) * rng.lognormal(0, 1) + 1e-6),
        )
        for p in case.points
    )
    for family in MotorFamily:
        plate = replace(case.plate, motor_family=family)
        found = fit_motor(points, plate=plate, rig=GOOD_RIG, metrics=case.metrics)
        assert (found.model is None) == (found.reason is not None)
        assert all(math.isfinite(v) for v in every_float(found))


def test_a_metric_without_value_is_left_out() -> None:
    case = drawn("induction", 41)
    name = MetricName.SHAFT_POWER_MAX_STEADY
    none = {name: Metric.missing(name, "not there")}
    assert fit_motor(case.points, plate=case.plate, rig=Rig(), metrics=none).normalised == ()
    assert isinstance(case.plate, Plate)


@pytest.mark.parametrize("family", FAMILIES)
def test_a_slip_of_unit_has_no_model(family: str) -> None:
    case = drawn(family, 41)
    points = tuple(replace(p, torque_nm=9.80665 * p.torque_nm) for p in case.points)
    found = fit_motor(points, plate=case.plate, rig=GOOD_RIG, metrics=case.metrics)
    assert found.model is None
    assert found.reason == "no model of the plate's family comes near the readings"
    assert found.losses == ()
