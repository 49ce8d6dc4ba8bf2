"""In use: placed on the curve of a brake run of the same simulated motor, whose truth is known."""

from dataclasses import replace

import numpy as np
import pytest

from server.model.bench import Instrument, Plate, Rig
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind
from server.reduction import place_in_use, reduce_run
from tests.reduction.simulate import Case, Simulated, simulate, universal
from tests.reduction.simulate_kinds import recording

M = MetricName
PLATE = Plate(voltage_v=120.0)
RIG = Rig(
    instruments=(
        Instrument(channel=Channel.SPEED, of_reading=0.002),
        Instrument(channel=Channel.POWER, of_reading=0.005),
    )
)


@pytest.fixture(scope="module")
def brake() -> tuple[Simulated, Reduction]:
    made = simulate(Case(motor=universal(), n_dwells=14, rate_hz=20.0, seed=3))
    reduction = reduce_run(
        made.recording,
        kind=RunKind.BRAKE,
        plate=made.plate,
        rig=replace(made.rig, instruments=RIG.instruments),
        options=ReductionOptions(),
    )
    return made, reduction


def used(brake: tuple[Simulated, Reduction], share: float, **changes: float) -> Reduction:
    """Five minutes of work at a share of the free speed, a minute blocked, both noisy."""
    made, _ = brake
    motor = made.case.motor
    rng = np.random.default_rng(7)
    time = np.arange(0, 60, 0.1)
    wanted = np.where(time < 2, 0, np.where(time < 40, share, min(1.3 * share, 0.93)))
    speed = wanted * motor.free_speed
    on = wanted > 0
    scatter = 1 + rng.normal(0, 0.002, (4, time.size))
    made_use = recording(
        time,
        speed=speed * scatter[0],
        voltage=on * motor.voltage_v * changes.get("voltage", 1.0) * scatter[1],
        current=on * motor.read(speed, motor.current) * scatter[2],
        power=on * motor.read(speed, motor.power) * changes.get("power", 1.0) * scatter[3],
    )
    return reduce_run(
        made_use, kind=RunKind.IN_USE, plate=made.plate, rig=RIG, options=ReductionOptions()
    )


@pytest.mark.parametrize("share", [0.5, 0.65, 0.8])
def test_speed_and_shaft_power_in_use_are_the_motor_s(brake, share):
    motor = brake[0].case.motor
    reduction = used(brake, share)

    placed = place_in_use(reduction.metrics, curve_of=brake[1])

    speed, power = placed[M.OPERATING_SPEED], placed[M.SHAFT_POWER_IN_USE]
    truth = float(motor.read(np.array(share * motor.free_speed), motor.torque))
    truth *= share * motor.free_speed
    assert speed.value == pytest.approx(share * motor.free_speed, rel=1e-3)
    assert power.value == pytest.approx(truth, rel=0.03)
    assert abs(power.value - truth) < 4 * power.standard_uncertainty
    assert abs(placed[M.AGREEMENT_Z].value) < 3
    assert sum(line.share for line in power.budget) == pytest.approx(1.0)
    assert len(reduction.segments) == 2


def test_an_input_power_that_does_not_fit_shows_in_the_agreement(brake):
    placed = place_in_use(used(brake, 0.65, power=1.15).metrics, curve_of=brake[1])

    assert placed[M.AGREEMENT_Z].value > 5
    assert placed[M.SHAFT_POWER_IN_USE].value is not None


def test_another_supply_widens_the_uncertainty_and_is_refused_beyond_a_tenth(brake):
    same, near, far = (
        place_in_use(used(brake, 0.65, voltage=v).metrics, curve_of=brake[1])
        for v in (1.0, 1.06, 1.15)
    )

    name = M.SHAFT_POWER_IN_USE
    assert near[name].standard_uncertainty > 2 * same[name].standard_uncertainty
    assert near[name].budget[0].component == "supply voltage"
    assert far[name].value is None
    assert "over 10 %" in far[name].reason


def test_a_curve_is_never_extended(brake):
    placed = place_in_use(used(brake, 0.15).metrics, curve_of=brake[1])

    assert placed[M.OPERATING_SPEED].value is not None
    assert placed[M.SHAFT_POWER_IN_USE].value is None
    assert "outside" in placed[M.SHAFT_POWER_IN_USE].reason


def test_without_a_curve_there_is_a_reason(brake):
    reduction = used(brake, 0.65)

    for metrics in (reduction.metrics, place_in_use(reduction.metrics, curve_of=None)):
        for name in (M.SHAFT_POWER_IN_USE, M.INPUT_POWER_BY_CURVE, M.AGREEMENT_Z):
            assert metrics[name].value is None
            assert "brake run" in metrics[name].reason


def test_rows_without_time_are_grouped_by_speed():
    made = recording(
        np.arange(6.0),
        notes={"rows_without_time": True},
        speed=[2000.0, 2010.0, 1990.0, 2005.0, 2600.0, 2610.0],
        power=[900.0, 905.0, 895.0, 902.0, 500.0, 505.0],
    )

    reduction = reduce_run(
        made,
        kind=RunKind.IN_USE,
        plate=PLATE,
        rig=Rig(),
        options=ReductionOptions(),
    )

    assert reduction.metrics[M.OPERATING_SPEED].value == pytest.approx(2001.25)
    assert reduction.metrics[M.INPUT_POWER_IN_USE].value == pytest.approx(900.5)
    assert len(reduction.segments) == 6


def test_a_motor_that_never_settles_has_a_reason():
    time = np.arange(0, 20, 0.1)
    made = recording(time, speed=1000 + 100 * time, current=5 + 0 * time)

    reduction = reduce_run(
        made, kind=RunKind.IN_USE, plate=PLATE, rig=Rig(), options=ReductionOptions()
    )

    assert reduction.metrics[M.OPERATING_SPEED].value is None
    assert "stood still" in reduction.metrics[M.OPERATING_SPEED].reason
