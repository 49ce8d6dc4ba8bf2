"""A motor's model comes back from its column as it went in."""

import pytest

from server.model.motor import MotorFit
from server.model.words import MotorFamily
from server.reduction.motors.describe import fit_motor
from server.store.motor_shape import motor_of, motor_value
from tests.reduction.motors.bench import GOOD_RIG, drawn


@pytest.mark.parametrize("family", ["series", "permanent magnet", "induction"])
def test_a_model_comes_back(family: str) -> None:
    case = drawn(family, 41)
    motor = fit_motor(case.points, plate=case.plate, rig=GOOD_RIG, metrics=case.metrics)
    assert motor.model is not None
    assert motor_of(motor_value(motor)) == motor


def test_a_reason_comes_back_and_nothing_stays_nothing() -> None:
    motor = MotorFit(MotorFamily.UNKNOWN, reason="the motor's family is not known")
    assert motor_of(motor_value(motor)) == motor
    assert motor_value(None) == {}
    assert motor_of({}) is None
