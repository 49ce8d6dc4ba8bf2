"""Run-up on inertia against the closed form of a permanent-magnet motor: T0 w0 / 4 at w0 / 2."""

import numpy as np
import pytest

from server.model.bench import Rig
from server.model.results import ReductionOptions
from server.model.words import MetricName, RunKind, SegmentKind
from server.reduction import reduce_run
from tests.reduction.simulate_kinds import MOTOR_PLATE, motor_torque, recording, run_up

M = MetricName
INERTIA = 3e-4


def reduced(made, rig: Rig):
    return reduce_run(
        made, kind=RunKind.RUN_UP, plate=MOTOR_PLATE, rig=rig, options=ReductionOptions()
    )


@pytest.mark.parametrize(
    ("rate_hz", "noise"), [(5000.0, 2.0), (1000.0, 2.0), (100.0, 2.0), (1000.0, 0.0)]
)
def test_the_highest_power_is_that_of_the_closed_form(rate_hz, noise):
    made, truth = run_up(rate_hz=rate_hz, noise=noise)

    reduction = reduced(made, Rig(inertia_kg_m2=INERTIA, inertia_uncertainty_rel=0.01))

    power = reduction.metrics[M.SHAFT_POWER_MAX_MOMENTARY]
    assert power.value == pytest.approx(truth["power"], rel=0.015)
    assert power.standard_uncertainty >= 0.0099 * power.value
    assert not power.lower_bound
    assert reduction.metrics[M.SPEED_AT_MAX_MOMENTARY_POWER].value == pytest.approx(
        truth["speed"], rel=0.02
    )
    assert reduction.metrics[M.TORQUE_AT_MAX_MOMENTARY_POWER].value == pytest.approx(
        truth["torque"], rel=0.03
    )
    assert reduction.metrics[M.FREE_SPEED].value == pytest.approx(truth["free"], rel=1e-3)
    assert [s.kind for s in reduction.segments] == [SegmentKind.RUN_UP]
    assert "Hz" in reduction.curves[0].fit


def test_the_points_follow_the_motor_s_own_line_and_its_efficiency():
    made, _ = run_up(noise=0.0)

    points = reduced(made, Rig(inertia_kg_m2=INERTIA)).points

    for point in points[1:-1]:
        truth = float(motor_torque(point.speed_rad_s))
        assert point.torque_nm == pytest.approx(truth, rel=0.01, abs=2e-3)
        assert point.efficiency == pytest.approx(
            truth * point.speed_rad_s / point.input_power_w, rel=0.03, abs=2e-3
        )


def test_the_interval_holds_the_truth_as_often_as_it_says():
    seeds = range(200, 260)
    n_inside = 0
    for seed in seeds:
        made, truth = run_up(rate_hz=500, noise=3, seed=seed)
        power = reduced(made, Rig(inertia_kg_m2=INERTIA)).metrics[M.SHAFT_POWER_MAX_MOMENTARY]
        n_inside += power.interval_low <= truth["power"] <= power.interval_high
    assert 0.88 <= n_inside / len(seeds) <= 1.0


def test_drag_is_added_to_what_the_inertia_takes():
    made, _ = run_up(noise=0.0)
    plain = reduced(made, Rig(inertia_kg_m2=INERTIA))
    dragged = reduced(made, Rig(inertia_kg_m2=INERTIA, drag=((0.0, 0.1), (5000.0, 0.1))))

    for a, b in zip(plain.points, dragged.points, strict=True):
        assert b.torque_nm - a.torque_nm == pytest.approx(0.1)


def test_what_cannot_be_had_has_a_reason():
    made, truth = run_up()
    no_inertia = reduced(made, Rig())
    still = reduced(recording(np.arange(40.0), speed=np.full(40, 500.0)), Rig(inertia_kg_m2=1e-4))

    assert no_inertia.metrics[M.FREE_SPEED].value == pytest.approx(truth["free"], rel=1e-3)
    assert "inertia" in no_inertia.metrics[M.SHAFT_POWER_MAX_MOMENTARY].reason
    assert all(m.value is None and m.reason for m in still.metrics.values())


def test_a_run_up_that_ends_before_its_highest_power_is_a_lower_bound():
    made, truth = run_up()
    early = made.channels
    keep = made.time_s < 1.25
    cut = recording(made.time_s[keep], **{c.value: v[keep] for c, v in early.items()})

    power = reduced(cut, Rig(inertia_kg_m2=INERTIA)).metrics[M.SHAFT_POWER_MAX_MOMENTARY]

    assert power.lower_bound
    assert power.value < truth["power"]
