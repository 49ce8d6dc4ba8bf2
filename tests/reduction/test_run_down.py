"""Run-down: simulated truth, and the closed forms of single drag laws."""

import math

import numpy as np
import pytest

from server.model.bench import Instrument, Plate, Rig
from server.model.results import Reduction, ReductionOptions
from server.model.words import Channel, MetricName, RunKind, SegmentKind
from server.reduction import reduce_run
from tests.reduction.simulate_kinds import recording, run_down

M = MetricName
INERTIA, DRAG = 1.2e-4, (4e-3, 2e-6, 3e-9)


def reduced(made, rig: Rig) -> Reduction:
    return reduce_run(
        made, kind=RunKind.RUN_DOWN, plate=Plate(), rig=rig, options=ReductionOptions()
    )


def torque(speed: float) -> float:
    return sum(c * speed**p for p, c in enumerate(DRAG))


def top_speed(reduction: Reduction) -> float:
    return reduction.metrics[M.SPEED_HIGHEST].value


@pytest.mark.parametrize(
    ("rate_hz", "noise", "has_current"),
    [(1000.0, 3.0, True), (50.0, 3.0, False), (10.0, 1.0, True), (2.0, 1.0, True)],
)
def test_drag_against_speed_comes_out_of_a_known_inertia(rate_hz, noise, has_current):
    made = run_down(rate_hz=rate_hz, noise=noise, has_current=has_current)

    reduction = reduced(made, Rig(inertia_kg_m2=INERTIA))

    drag = reduction.metrics[M.DRAG]
    assert drag.value == pytest.approx(torque(top_speed(reduction)), rel=0.01)
    assert abs(drag.value - torque(top_speed(reduction))) < 4 * drag.standard_uncertainty
    for name, truth in zip((M.DRAG_CONSTANT, M.DRAG_LINEAR, M.DRAG_QUADRATIC), DRAG, strict=True):
        assert reduction.metrics[name].value == pytest.approx(truth, rel=0.15)
    assert [s.kind for s in reduction.segments] == [SegmentKind.RUN_DOWN]
    for point in reduction.points:
        assert abs(point.torque_nm - torque(point.speed_rad_s)) < 6 * point.u_torque_nm + 1e-4


@pytest.mark.parametrize("rate_hz", [5.0, 200.0])
def test_inertia_comes_out_of_a_known_drag(rate_hz):
    table = tuple((float(w), torque(float(w))) for w in np.linspace(0, 2300, 12))

    reduction = reduced(run_down(rate_hz=rate_hz), Rig(drag=table, drag_uncertainty_rel=0.05))

    inertia = reduction.metrics[M.ROTOR_INERTIA]
    assert inertia.value == pytest.approx(INERTIA, rel=5e-3)
    assert inertia.standard_uncertainty == pytest.approx(0.05 * INERTIA, rel=0.05)
    assert inertia.budget[0].component == "drag before the sensor"
    assert reduction.metrics[M.DRAG].value is None
    assert reduction.metrics[M.DRAG].reason


@pytest.mark.parametrize("power", [0, 1, 2])
def test_closed_forms_of_single_drag_laws(power):
    """Constant: a straight line; in proportion: exponential; squared: 1 / (1 + t / tau)."""
    time = np.arange(0, 8, 0.02)
    start, tau = 1500.0, 6.0
    shapes = (1 - time / tau, np.exp(-time / tau), 1 / (1 + time / tau))
    speed = start * np.maximum(shapes[power], 0.0)

    reduction = reduced(recording(time, speed=speed), Rig(inertia_kg_m2=2e-4))

    truth = 2e-4 * start ** (1 - power) / tau
    name = (M.DRAG_CONSTANT, M.DRAG_LINEAR, M.DRAG_QUADRATIC)[power]
    assert reduction.metrics[name].value == pytest.approx(truth, rel=1e-3)


def test_the_interval_holds_the_truth_as_often_as_it_says():
    seeds = range(100, 180)
    n_inside = 0
    for seed in seeds:
        reduction = reduced(run_down(rate_hz=20, noise=3, seed=seed), Rig(inertia_kg_m2=INERTIA))
        drag = reduction.metrics[M.DRAG]
        n_inside += drag.interval_low <= torque(top_speed(reduction)) <= drag.interval_high
    assert 0.88 <= n_inside / len(seeds) <= 1.0


def test_a_gain_of_the_speed_sensor_moves_figures_as_the_budget_says():
    table = tuple((float(w), torque(float(w))) for w in np.linspace(0, 2400, 40))
    speed = Instrument(channel=Channel.SPEED, of_reading=0.01 * math.sqrt(3))
    made = run_down(noise=0.0)
    off = recording(
        made.time_s,
        speed=1.01 * made.channels[Channel.SPEED],
        current=made.channels[Channel.CURRENT],
    )

    one, other = (reduced(m, Rig(drag=table, instruments=(speed,))) for m in (made, off))

    line = next(b for b in one.metrics[M.ROTOR_INERTIA].budget if "speed" in b.component)
    moved = other.metrics[M.ROTOR_INERTIA].value - one.metrics[M.ROTOR_INERTIA].value
    assert line.sensitivity * 0.01 == pytest.approx(moved, rel=0.05)


def test_what_cannot_be_had_has_a_reason():
    nothing_known = reduced(run_down(), Rig())
    steady = reduced(recording(np.arange(50.0), speed=np.full(50, 900.0)), Rig(inertia_kg_m2=1e-4))

    assert nothing_known.metrics[M.DECELERATION].value == pytest.approx(185, rel=0.02)
    for reduction, name in ((nothing_known, M.ROTOR_INERTIA), (nothing_known, M.DRAG)):
        assert reduction.metrics[name].value is None
        assert "given" in reduction.metrics[name].reason
    assert all(m.value is None and m.reason for m in steady.metrics.values())


def test_two_falls_in_one_file_are_fitted_together():
    one, other = run_down(seed=1), run_down(seed=2)
    later = other.time_s + one.time_s[-1] + 1.0
    both = recording(
        np.concatenate([one.time_s, later]),
        speed=np.concatenate([one.channels[Channel.SPEED], other.channels[Channel.SPEED]]),
        current=np.concatenate([one.channels[Channel.CURRENT], other.channels[Channel.CURRENT]]),
    )

    reduction = reduced(both, Rig(inertia_kg_m2=INERTIA))

    assert len(reduction.segments) == 2
    single = reduced(one, Rig(inertia_kg_m2=INERTIA)).metrics[M.DRAG]
    assert reduction.metrics[M.DRAG].standard_uncertainty < single.standard_uncertainty


def with_and_without(added: float, **changes):
    """Two falls in one file: the bare shaft, then with an inertia added."""
    one = run_down(inertia=INERTIA, length_s=20.0, **changes)
    other = run_down(inertia=INERTIA + added, length_s=30.0, **changes)
    return recording(
        np.concatenate([one.time_s, other.time_s + one.time_s[-1] + 1.0]),
        speed=np.concatenate([one.channels[Channel.SPEED], other.channels[Channel.SPEED]]),
        current=np.concatenate([one.channels[Channel.CURRENT], other.channels[Channel.CURRENT]]),
    )


@pytest.mark.parametrize("added", [3e-5, 1e-4, 3e-4])
def test_an_inertia_added_for_one_of_two_falls_gives_inertia_and_drag(added):
    rig = Rig(inertia_uncertainty_rel=0.01)

    reduction = reduce_run(
        with_and_without(added),
        kind=RunKind.RUN_DOWN,
        plate=Plate(),
        rig=rig,
        options=ReductionOptions(added_inertia_kg_m2=added),
    )

    inertia, drag = reduction.metrics[M.ROTOR_INERTIA], reduction.metrics[M.DRAG]
    assert inertia.value == pytest.approx(INERTIA, rel=0.01)
    assert inertia.standard_uncertainty >= 0.0099 * INERTIA
    assert drag.value == pytest.approx(torque(top_speed(reduction)), rel=0.015)
    assert len(reduction.segments) == 2


def test_the_added_inertia_s_interval_holds_the_truth_as_often_as_it_says():
    n_inside = 0
    for seed in range(40):
        reduction = reduce_run(
            with_and_without(1e-4, rate_hz=20, noise=3, seed=seed),
            kind=RunKind.RUN_DOWN,
            plate=Plate(),
            rig=Rig(),
            options=ReductionOptions(added_inertia_kg_m2=1e-4),
        )
        inertia = reduction.metrics[M.ROTOR_INERTIA]
        n_inside += inertia.interval_low <= INERTIA <= inertia.interval_high
    assert 34 <= n_inside <= 40


def test_one_fall_alone_does_not_tell_an_added_inertia():
    reduction = reduce_run(
        run_down(),
        kind=RunKind.RUN_DOWN,
        plate=Plate(),
        rig=Rig(),
        options=ReductionOptions(added_inertia_kg_m2=1e-4),
    )

    assert "both in the file" in reduction.metrics[M.ROTOR_INERTIA].reason
