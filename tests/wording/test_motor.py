"""A motor's model in words."""

import json

import pytest

from server.model.motor import (
    Identified,
    LossKind,
    ModelScore,
    MotorFit,
    MotorParameter,
)
from server.model.words import MotorFamily
from server.reduction.motors.describe import fit_motor
from server.wording.motor import (
    PARAMETERS,
    losses_label,
    model_sentence,
    motor_to_json,
    parameter_label,
    show_parameter,
)
from tests.reduction.motors.bench import GOOD_RIG, drawn

NB = "\u00a0"


@pytest.mark.parametrize(
    ("value", "u", "unit", "shown"),
    [
        (2.434, 0.04, "ohm", f"2.43{NB}±{NB}0.08{NB}Ω"),
        (0.1471, 0.00045, "V s", f"0.1471{NB}±{NB}0.0009{NB}V·s"),
        (2.54e-8, 1.55e-9, "N m s2", f"25.4{NB}±{NB}3.1{NB}nN·m·s²"),
        (0.0, 6e-6, "N m s", f"0{NB}±{NB}12{NB}µN·m·s"),
        (0.218, 0.0005, "", f"0.2180{NB}±{NB}0.0010"),
    ],
)
def test_a_parameter_is_written_with_a_fitting_prefix(
    value: float, u: float, unit: str, shown: str
) -> None:
    assert show_parameter(MotorParameter("x", value, u, unit, Identified.FIXED)) == shown


def test_kinds_that_stand_as_one() -> None:
    assert losses_label((LossKind.COPPER,)) == "copper"
    assert losses_label((LossKind.IRON, LossKind.ROTATION)) == "iron, friction and windage"
    assert losses_label((LossKind.COPPER, LossKind.BRUSH)) == "copper and brushes"


def score(above: float) -> ModelScore:
    return ModelScore("series, saturating", MotorFamily.SERIES, above, 7)


@pytest.mark.parametrize(
    ("above", "words"),
    [
        (0.4, "as good by"),
        (-1.9, "as good by"),
        (5.0, "somewhat worse"),
        (40.0, "clearly worse"),
        (-40.0, "fits better, but is not of the family on the plate"),
    ],
)
def test_the_runner_up_is_named(above: float, words: str) -> None:
    motor = MotorFit(MotorFamily.SERIES, model="another", scores=(score(above),))
    said = model_sentence(motor)
    assert words in said
    assert "series, saturating" in said
    assert said.startswith("Another.")


def test_no_model_says_why() -> None:
    motor = MotorFit(MotorFamily.UNKNOWN, reason="the motor's family is not known")
    assert model_sentence(motor) == "No model of the motor: the motor's family is not known."
    assert motor_to_json(motor) is not None
    assert motor_to_json(None) is None


@pytest.mark.parametrize("family", ["series", "permanent magnet", "induction"])
def test_the_json_is_plain_and_every_parameter_has_a_name(family: str) -> None:
    case = drawn(family, 42)
    motor = fit_motor(case.points, plate=case.plate, rig=GOOD_RIG, metrics=case.metrics)
    told = json.loads(json.dumps(motor_to_json(motor), allow_nan=False))
    assert told["model"] == motor.model
    assert told["family"] == family
    assert set(told["parameters"]) <= set(PARAMETERS)
    assert told["runner_up"] == motor.scores[1].model
    assert {n["basis"] for n in told["normalised"]} == {"normalised"}
    for at in told["losses"]:
        parts = sum(p["power"] for p in at["parts"]) + at["beyond"]
        assert parts == pytest.approx(at["input_power"] - at["shaft_power"], rel=1e-9)
    assert parameter_label("something_else") == "Something else"
