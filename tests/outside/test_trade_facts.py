"""Facts of the trade. Each is common practice, no source, unless it says otherwise."""

import math

import numpy as np
import pytest

from server.model.bench import Claim, Plate, Rig
from server.model.measured import Metric
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import Channel, Meaning, MetricName, MotorFamily, RunKind, Supply
from server.reduction import read_claims, reduce_run
from tests.reduction.simulate import Case, simulate, universal

HORSEPOWER_W = 745.69987158227022  # 550 ft lbf/s, exact
RPM = math.pi / 30
M = MetricName


def claim(watts: float, wording: str) -> Claim:
    return Claim(quantity="power", value_si=watts, wording=wording, value_typed=wording)


def test_086_horsepower_is_about_640_watts() -> None:
    # Common practice, no source.
    assert pytest.approx(640, abs=2) == 0.86 * HORSEPOWER_W


def test_a_small_universal_motor_at_10_2_amperes_takes_122_kw_and_gives_about_half() -> None:
    # Common practice, no source.
    assert pytest.approx(1220, rel=5e-3) == 120 * 10.2
    run = simulate(Case(universal(watts=520.0), lowest_speed_share=0.2, n_dwells=16, seed=5))
    result = reduce_run(
        run.recording,
        kind=RunKind.BRAKE,
        plate=Plate(
            voltage_v=120, supply=Supply.AC, frequency_hz=60, current_a=10.2,
            motor_family=MotorFamily.SERIES,
        ),
        rig=run.rig,
        options=ReductionOptions(),
    )  # fmt: skip
    input_w = result.metrics[M.INPUT_POWER_AT_RATED_CURRENT].value
    efficiency = result.metrics[M.EFFICIENCY_AT_RATED_CURRENT].value
    assert input_w is not None
    assert input_w <= 120 * 10.2 * 1.005
    assert efficiency is not None
    assert 0.4 < efficiency < 0.7


def test_what_a_circuit_can_give_without_end() -> None:
    # CALC from the exact horsepower: 120 V x 15 A = 1800 W = 2.41383976 hp.
    assert pytest.approx(2.41383976, rel=1e-7) == 1800 / HORSEPOWER_W
    (reading,) = read_claims(
        {},
        claims=(claim(6.5 * HORSEPOWER_W, "6.5 peak hp"),),
        plate=Plate(voltage_v=120, circuit_a=15),
        rotor_inertia_kg_m2=None,
    )
    limit = next(m for m in reading.meanings if m.meaning is Meaning.CIRCUIT_CONTINUOUS_LIMIT)
    assert limit.value == 1800
    assert limit.ratio == pytest.approx(2.41383976 / 6.5, rel=1e-7)


def test_a_six_and_a_half_horsepower_claim_would_draw_40_amperes_at_full_efficiency() -> None:
    # CALC: 6.5 hp = 4847.049 W, 40.392 A at 120 V even at 100 % efficiency.
    metrics = {
        M.EFFICIENCY_MAX: Metric(M.EFFICIENCY_MAX, 1.0, 0.0),
        M.POWER_FACTOR_AT_EFFICIENCY_MAX: Metric(M.POWER_FACTOR_AT_EFFICIENCY_MAX, 1.0, 0.0),
    }
    (reading,) = read_claims(
        metrics,
        claims=(claim(6.5 * HORSEPOWER_W, "6.5 peak hp"),),
        plate=Plate(voltage_v=120),
        rotor_inertia_kg_m2=None,
    )
    assert reading.implied_current.value == pytest.approx(40.392, abs=5e-4)


def test_a_slowing_rotor_makes_the_brake_read_more_than_the_motor_makes() -> None:
    # CALC: 0.5 N m at 20 000 r/min is 1047.19755 W; slowing 5000 (r/min)/s with 1e-4 kg m^2 the
    # motor itself makes 937.53528 W.
    rate = 1000.0
    time = np.arange(0, 1.0, 1 / rate)
    speed = (20_000 + 5000 * (0.5 - time)) * RPM
    run = Recording(
        time,
        {
            Channel.SPEED: speed.astype(np.float32),
            Channel.TORQUE: np.full(time.size, 0.5, dtype=np.float32),
            Channel.CURRENT: np.full(time.size, 9.0, dtype=np.float32),
        },
    )
    result = reduce_run(
        run,
        kind=RunKind.BRAKE,
        plate=Plate(),
        rig=Rig(inertia_kg_m2=1e-4),
        options=ReductionOptions(),
    )
    middle = min(result.points, key=lambda p: abs(p.speed_rad_s - 20_000 * RPM))
    expected = 937.53528 * middle.speed_rad_s / (20_000 * RPM)
    assert middle.shaft_power_w == pytest.approx(expected, rel=2e-3)
    brake = result.metrics[M.BRAKE_READING_WHILE_SLOWING].value
    shaft = result.metrics[M.SHAFT_POWER_MAX_MOMENTARY].value
    assert brake is not None
    assert shaft is not None
    assert brake > shaft * 1.1


def test_the_energy_a_rotor_holds() -> None:
    # CALC: J w^2 / 2 at 25 000 r/min with 1e-4 kg m^2 is 342.694597 J; over 0.25 s 1370.77839 W.
    metrics = {
        M.FREE_SPEED: Metric(M.FREE_SPEED, 25_000 * RPM, 0.0),
        M.SPEED_AT_MAX_STEADY_POWER: Metric(M.SPEED_AT_MAX_STEADY_POWER, 0.0, 0.0),
        M.SHAFT_POWER_MAX_STEADY: Metric(M.SHAFT_POWER_MAX_STEADY, 600.0, 0.0),
    }
    (reading,) = read_claims(
        metrics,
        claims=(claim(600 + 1370.77839, "peak"),),
        plate=Plate(),
        rotor_inertia_kg_m2=1e-4,
    )
    assert reading.rotor_energy_time.value == pytest.approx(0.25, rel=1e-6)


def test_a_held_rotor_gives_no_shaft_power() -> None:
    # By definition: power is torque times speed, and the speed is zero.
    time = np.arange(0, 8.0, 0.02)
    is_held = time > 5
    speed = np.where(is_held, 0.0, 300.0)
    run = Recording(
        time,
        {
            Channel.SPEED: speed.astype(np.float32),
            Channel.TORQUE: np.where(is_held, 4.0, 1.0).astype(np.float32),
            Channel.CURRENT: np.where(is_held, 20.0, 5.0).astype(np.float32),
            Channel.POWER: np.where(is_held, 2000.0, 500.0).astype(np.float32),
        },
    )
    result = reduce_run(
        run,
        kind=RunKind.BRAKE,
        plate=Plate(voltage_v=120, supply=Supply.AC),
        rig=Rig(),
        options=ReductionOptions(),
    )
    assert result.metrics[M.INPUT_ROTOR_HELD].value == pytest.approx(2000, rel=1e-3)
    assert all(p.speed_rad_s > 100 for p in result.points)
    assert result.metrics[M.SHAFT_POWER_MAX_STEADY].value == pytest.approx(300, rel=1e-3)


def test_an_impeller_at_20_000_turns_a_minute() -> None:
    # Common practice, no source: a vacuum cleaner's impeller turns near 20 000 r/min in use, well
    # inside what a small universal motor runs free at, and above what it turns at peak power.
    run = simulate(Case(universal(watts=520.0), lowest_speed_share=0.2, seed=6))
    free, peak = run.case.motor.free_speed / RPM, run.truth["speed"] / RPM
    assert peak < 20_000 < free
