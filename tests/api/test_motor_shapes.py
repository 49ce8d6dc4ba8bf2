"""The shape of a motor's model says all that its JSON holds."""

import pytest

from server.api.motor_shapes import MotorOut
from server.reduction.motors.describe import fit_motor
from server.wording.motor import motor_to_json
from tests.reduction.motors.bench import GOOD_RIG, drawn
from tests.reduction.motors.test_warming import repeated


@pytest.mark.parametrize("family", ["series", "permanent magnet", "induction"])
def test_the_shape_is_the_json(family: str) -> None:
    case = drawn(family, 41)
    points = repeated(0.03) if family == "series" else case.points
    motor = fit_motor(points, plate=case.plate, rig=GOOD_RIG, metrics=case.metrics)
    told = motor_to_json(motor)
    assert told is not None
    assert MotorOut.model_validate(told).model_dump(mode="json") == told
    assert (told["warming"] is not None) == (family == "series")
