"""A first load repeated at the end of a run."""

from dataclasses import replace

import pytest

from server.model.results import LoadPoint
from server.reduction.motors.describe import fit_motor
from server.reduction.motors.warming import repeat_of_the_first
from server.wording.motor import motor_notes
from tests.reduction.motors.bench import GOOD_RIG, drawn

CASE = drawn("series", 41)


def repeated(slower: float, *, torque: float = 1.0) -> tuple[LoadPoint, ...]:
    """The case's points, the first loaded one once more at the end."""
    first = CASE.points[0]
    again = replace(
        first,
        start_s=200.0,
        end_s=204.0,
        speed_rad_s=first.speed_rad_s * (1 - slower),
        current_a=(first.current_a or 0) * 1.001,
        torque_nm=first.torque_nm * torque,
    )
    return (*CASE.points, again)


def test_the_change_is_told_with_its_uncertainty() -> None:
    found = repeat_of_the_first(repeated(0.03))
    assert found is not None
    assert found.after_s == 200.0
    assert found.speed_rel == pytest.approx(-0.03, abs=1e-9)
    assert found.current_rel == pytest.approx(0.001, abs=1e-9)
    assert found.is_seen
    assert repeat_of_the_first(tuple(reversed(repeated(0.03)))) == found


def test_a_little_more_torque_is_allowed_for() -> None:
    first, near = CASE.points[0], CASE.points[1]
    slope = (near.speed_rad_s - first.speed_rad_s) / (near.torque_nm - first.torque_nm)
    along = -slope * 0.005 * first.torque_nm / first.speed_rad_s
    found = repeat_of_the_first(repeated(along, torque=1.005))
    assert found is not None
    assert found.speed_rel == pytest.approx(0.0, abs=1e-9)
    assert not found.is_seen


def test_no_repeat_says_nothing() -> None:
    assert repeat_of_the_first(CASE.points) is None
    assert repeat_of_the_first(CASE.points[:3]) is None
    assert repeat_of_the_first(()) is None
    other_voltage = replace(CASE.points[0], start_s=200.0, voltage_v=100.0)
    assert repeat_of_the_first((*CASE.points, other_voltage)) is None


def test_it_is_said_beside_the_model() -> None:
    found = fit_motor(repeated(0.03), plate=CASE.plate, rig=GOOD_RIG)
    assert any("slower" in note for note in motor_notes(found))
    still = fit_motor(repeated(0.0), plate=CASE.plate, rig=GOOD_RIG)
    assert not any("slower" in note for note in motor_notes(still))
