"""Textbook motors through the motor models.

Numbers from memory (Chapman, Electric Machinery Fundamentals; Theraja, A Textbook of Electrical
Technology, ch. 36; a textbook's solved problem on a 12-pole induction motor), each recomputed to
the digits shown; the permanent magnet machine's are the published ones of a modelling library.
"""

import math

import numpy as np
import pytest

from server.model.bench import Plate, Rig
from server.model.results import LoadPoint
from server.model.words import MotorFamily, Supply
from server.reduction.motors.describe import fit_motor
from server.reduction.motors.induction import induction_law, pull_out_point
from server.reduction.motors.kloss import kloss_torque, pull_out, seen_by_the_rotor
from server.reduction.motors.law import Law, Observed, State
from server.reduction.motors.permanent_magnet import Behind, Rising, magnet_law
from server.reduction.motors.series import series_law

RPM = math.pi / 30


def observed(
    *, volts: float, amperes: float, speed: float, torque: float, watts: float, is_ac: bool
) -> Observed:
    """One point, for the laws' starting values."""
    one = np.ones(2)
    return Observed(
        state=State(speed * one, volts * one, amperes * one),
        values=np.outer([amperes, torque, watts], one),
        u=np.ones((3, 2)),
        u_speed=0 * one,
        has=np.ones(3, dtype=bool),
        is_ac=is_ac,
    )


def at(law: Law, constants: dict[str, float], *, speed: float, volts: float, amperes: float):
    """(current, torque, power) of a law at one speed and voltage."""
    theta = np.array([[constants.get(c.name, 0.0) for c in law.constants]])
    state = State(np.array([speed]), np.array([volts]), np.array([amperes]))
    return law.predict(theta, state)[0, :, 0]


def test_a_series_motor_on_direct_current() -> None:
    # 250 V, 0.08 ohm, 50 A: E = 246 V, 3690 r/min, 12 300 W converted, 31.830989 N m.
    point = observed(volts=250, amperes=50, speed=3690 * RPM, torque=31, watts=12500, is_ac=False)
    law = series_law(point, saturates=False)
    field = 246 / (3690 * RPM) / 50
    current, torque, power = at(
        law,
        {"resistance": 0.08, "field_constant": field},
        speed=3690 * RPM,
        volts=250,
        amperes=30,
    )
    assert current == pytest.approx(50, rel=1e-9)
    assert torque == pytest.approx(31.830989, abs=1e-6)
    assert torque * 3690 * RPM == pytest.approx(12_300, rel=1e-9)
    assert power == pytest.approx(12_500, rel=1e-9)


@pytest.mark.parametrize(
    ("volts", "amperes", "ohms", "henry", "rpm", "factor", "torque_nm"),
    [
        (220.0, 1.0, 20.0, 0.4, 1605.79, 0.8208, 0.95493),
        (250.0, 0.8, 30.0, 0.5, 1700.19, 0.8645, None),
    ],
)
def test_a_universal_motor_from_direct_to_alternating_current(
    volts: float,
    amperes: float,
    ohms: float,
    henry: float,
    rpm: float,
    factor: float,
    torque_nm: float | None,
) -> None:
    # 2000 r/min on direct current gives the field; on 50 Hz at the same current it turns slower.
    field = (volts - ohms * amperes) / (2000 * RPM) / amperes
    reactance = 2 * math.pi * 50 * henry
    point = observed(volts=volts, amperes=amperes, speed=rpm * RPM, torque=1, watts=180, is_ac=True)
    law = series_law(point, saturates=False)
    constants = {"resistance": ohms, "field_constant": field, "reactance": reactance}
    current, torque, power = at(law, constants, speed=rpm * RPM, volts=volts, amperes=amperes)
    assert current == pytest.approx(amperes, rel=1e-5)
    assert power / (volts * current) == pytest.approx(factor, abs=5e-5)
    if torque_nm is not None:
        assert torque == pytest.approx(torque_nm, abs=2e-5)


def test_a_permanent_magnet_machine() -> None:
    # 100 V, 100 A, 1425 r/min, 0.05 ohm: 63.661977 N m; 1500 r/min free; V^2 / 4R = 50 000 W.
    speed = 1425 * RPM
    point = observed(volts=100, amperes=100, speed=speed, torque=63, watts=10_000, is_ac=False)
    law = magnet_law(point, behind=Behind.NOTHING, rising=Rising.NOT)
    constants = {"resistance": 0.05, "field_constant": 100 / (1500 * RPM)}
    current, torque, _ = at(law, constants, speed=speed, volts=100, amperes=100)
    assert current == pytest.approx(100, rel=1e-9)
    assert torque == pytest.approx(63.661977, abs=1e-6)
    assert at(law, constants, speed=1500 * RPM, volts=100, amperes=1)[0] == pytest.approx(
        0, abs=1e-9
    )
    _, half, _ = at(law, constants, speed=750 * RPM, volts=100, amperes=1)
    assert half * 750 * RPM == pytest.approx(50_000, rel=1e-9)


def test_its_constants_are_found_again_from_points() -> None:
    ohms, volts, free, drag = 0.05, 100.0, 1500 * RPM, 0.6
    k = volts / free
    speed = np.linspace(0.985, 0.8, 12) * free
    current = (volts - 1.0 - k * speed) / ohms
    points = [
        LoadPoint(
            start_s=4.0 * i,
            end_s=4.0 * i + 3,
            is_dwell=True,
            n_samples=100,
            n_effective=50,
            torque_nm=float(k * c - drag),
            speed_rad_s=float(w),
            shaft_power_w=float((k * c - drag) * w),
            voltage_v=volts,
            current_a=float(c),
            input_power_w=float(volts * c),
        )
        for i, (w, c) in enumerate(zip(speed, current, strict=True))
    ]
    plate = Plate(voltage_v=volts, supply=Supply.DC, motor_family=MotorFamily.PERMANENT_MAGNET)
    found = fit_motor(points, plate=plate, rig=Rig()).by_name
    assert found["resistance"].value == pytest.approx(ohms, rel=1e-3)
    assert found["field_constant"].value == pytest.approx(k, rel=1e-3)
    assert found["friction_torque"].value == pytest.approx(drag, abs=0.05)


TWELVE_POLES = 4 * math.pi * 50 / 12  # rad/s, synchronous


def test_a_twelve_pole_motor_by_kloss() -> None:
    # 12 poles, 50 Hz, R2 0.15, X2 0.25, 32 V: start 103.536844, 480 r/min 15.576339, pull-out
    # 117.341756 N m at slip 0.6 (200 r/min); three phases, no stator resistance.
    per_phase, slip = pull_out(
        voltage_v=32, sync_rad_s=TWELVE_POLES, r_th=0, x_th=0, r2=0.15, x2=0.25
    )
    assert 3 * per_phase == pytest.approx(117.341756, abs=1e-6)
    assert slip == pytest.approx(0.6, abs=1e-12)
    start, full = kloss_torque(np.array([1.0, 0.04]), pull_out_nm=3 * per_phase, pull_out_slip=slip)
    assert start == pytest.approx(103.536844, abs=1e-6)
    assert full == pytest.approx(15.576339, abs=1e-6)


# 460 V, 25 hp, 4 poles, 60 Hz, per phase of a star connection.
CHAPMAN = {"r1": 0.641, "x1": 1.106, "xm": 26.3}
R2, X2, SYNC, PHASE_V = 0.332, 0.464, 60 * math.pi, 460 / math.sqrt(3)


def test_the_source_a_rotor_sees_and_its_pull_out_point() -> None:
    volts, r_th, x_th = seen_by_the_rotor(voltage_v=PHASE_V, **CHAPMAN)
    assert volts == pytest.approx(254.7936, abs=1e-4)
    assert r_th == pytest.approx(0.5900, abs=5e-5)
    assert x_th == pytest.approx(1.0752, abs=5e-5)
    source = {"voltage_v": volts, "sync_rad_s": SYNC, "r_th": r_th, "x_th": x_th, "x2": X2}
    per_phase, slip = pull_out(r2=R2, **source)
    assert 3 * per_phase == pytest.approx(230.8017, abs=1e-4)
    assert slip == pytest.approx(0.20141, abs=5e-6)
    assert 1800 * (1 - slip) == pytest.approx(1437.46, abs=5e-3)
    kloss = {"pull_out_nm": 3 * per_phase, "stator_ratio": r_th / R2}
    assert kloss_torque(np.array([1.0]), pull_out_slip=slip, **kloss)[0] == pytest.approx(
        106.5621, abs=1e-4
    )
    twice, slip_of_twice = pull_out(r2=2 * R2, **source)
    kloss = {"pull_out_nm": 3 * twice, "stator_ratio": r_th / (2 * R2)}
    assert kloss_torque(np.array([1.0]), pull_out_slip=slip_of_twice, **kloss)[0] == pytest.approx(
        174.0616, abs=1e-4
    )


def test_the_circuit_is_kloss_and_the_simple_form_is_not() -> None:
    # Stator and rotor leakage are one constant in the law, so each is half of their sum here.
    x = (CHAPMAN["x1"] + X2) / 2
    volts, r_th, x_th = seen_by_the_rotor(
        voltage_v=PHASE_V, r1=CHAPMAN["r1"], x1=x, xm=CHAPMAN["xm"]
    )
    top, slip_m = pull_out(voltage_v=volts, sync_rad_s=SYNC, r_th=r_th, x_th=x_th, r2=R2, x2=x)
    point = observed(volts=PHASE_V, amperes=20, speed=180, torque=70, watts=5000, is_ac=True)
    law = induction_law(point, two_fields=False, sync_rad_s=SYNC)
    theta = np.array([[CHAPMAN["r1"], R2, x, CHAPMAN["xm"], 0.0, 0.0]])
    slip = np.array([0.01, 0.02, 0.1, 0.2, 0.5, 1.0])
    state = State(SYNC * (1 - slip), np.full(6, PHASE_V), np.ones(6))
    circuit = law.predict(theta, state)[0, 1]
    full = kloss_torque(slip, pull_out_nm=top, pull_out_slip=slip_m, stator_ratio=r_th / R2)
    assert circuit == pytest.approx(full, rel=1e-9)
    simple = kloss_torque(slip, pull_out_nm=top, pull_out_slip=slip_m)
    assert simple[1] / circuit[1] - 1 == pytest.approx(-0.21, abs=0.02)
    found = pull_out_point(law, theta, voltage_v=PHASE_V, sync_rad_s=SYNC)[0]
    assert found == pytest.approx([top, slip_m], rel=1e-4)
