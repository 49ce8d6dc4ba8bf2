"""Readings by hand: rounded rows of a simulated motor, against that motor's truth."""

import numpy as np
import pytest

from server.model.bench import Instrument, Plate, Rig
from server.model.budget import RATED_BY_CURVE
from server.model.results import ReductionOptions
from server.model.words import Channel, FindingCode, MetricName, RunKind, SegmentKind, Severity
from server.reduction import reduce_run
from server.reduction.polynomial import score_polynomials
from tests.reduction.simulate import induction, permanent_magnet, universal
from tests.reduction.simulate_kinds import recording

M = MetricName
MOTORS = {"series": universal(), "permanent magnet": permanent_magnet(), "induction": induction()}
LOWEST = {"series": 0.25, "permanent magnet": 0.25, "induction": 0.6}
BY_HAND = ReductionOptions(rows_are_points=True)


def rounded(values, step):
    return np.round(np.asarray(values) / step) * step


def table(family: str, *, n: int = 12, seed: int = 0, scatter: float = 0.003):
    """What a person writes down: a few digits of each reading, some loads twice."""
    motor, rng = MOTORS[family], np.random.default_rng(seed)
    speed = np.linspace(LOWEST[family], 0.995, n) * motor.free_speed
    speed = np.concatenate([speed, speed[::3]])
    noise = 1 + rng.normal(0, scatter, (4, speed.size))
    torque, current = motor.read(speed, motor.torque), motor.read(speed, motor.current)
    return motor, {
        "speed": rounded(speed * noise[0], 0.5),
        "torque": rounded(torque * noise[1], 0.002),
        "current": rounded(current * noise[2], 0.01),
        "power": rounded(motor.read(speed, motor.power) * noise[3], 1.0),
        "voltage": np.full(speed.size, motor.voltage_v),
    }


def reduced(rows, motor, rig: Rig | None = None, *, notes=None, options=ReductionOptions()):
    n = len(rows["speed"])
    return reduce_run(
        recording(np.arange(float(n)), notes or {"rows_without_time": True}, **rows),
        kind=RunKind.BRAKE,
        plate=Plate(
            voltage_v=motor.voltage_v, supply=motor.supply, frequency_hz=motor.frequency_hz
        ),
        rig=rig or Rig(),
        options=options,
    )


@pytest.mark.parametrize("family", MOTORS)
def test_the_figures_are_the_motor_s_own(family):
    motor, rows = table(family)
    truth = motor.truth(LOWEST[family] * motor.free_speed, 0.995 * motor.free_speed)

    reduction = reduced(rows, motor)

    power = reduction.metrics[M.SHAFT_POWER_MAX_STEADY]
    assert power.value == pytest.approx(truth["power"], rel=0.02)
    assert abs(power.value - truth["power"]) < 4 * power.standard_uncertainty
    assert reduction.metrics[M.EFFICIENCY_MAX].value == pytest.approx(
        truth["efficiency_max"], abs=0.02
    )
    assert len(reduction.points) == len(rows["speed"])
    assert {s.kind for s in reduction.segments} <= {
        SegmentKind.STEADY_DWELL,
        SegmentKind.FREE_RUNNING,
    }
    assert [s.first_row for s in reduction.segments] == list(range(len(reduction.points)))
    assert reduction.trace is None
    assert not [f for f in reduction.findings if f.severity is Severity.ERROR]


def test_every_figure_with_a_value_has_an_interval_and_momentary_ones_a_reason():
    motor, rows = table("series")

    metrics = reduced(rows, motor).metrics

    assert metrics[M.SHAFT_POWER_MAX_STEADY].interval_low is not None
    assert metrics[M.SHAFT_POWER_MAX_STEADY].budget
    for name in (M.SHAFT_POWER_MAX_MOMENTARY, M.BRAKE_READING_WHILE_SLOWING):
        assert metrics[name].value is None
        assert "one by one" in metrics[name].reason


def test_the_resolution_of_a_reading_is_in_the_uncertainty():
    motor, rows = table("series", scatter=0.0)
    coarse = Rig(instruments=(Instrument(channel=Channel.TORQUE, resolution=0.05),))

    plain, wide = (
        reduced(rows, motor, rig).metrics[M.SHAFT_POWER_MAX_STEADY] for rig in (Rig(), coarse)
    )

    assert wide.value == pytest.approx(plain.value, rel=0.02)
    assert wide.standard_uncertainty > 1.5 * plain.standard_uncertainty


def test_rows_at_rest_are_the_zero_and_a_held_rotor():
    motor, rows = table("permanent magnet")
    off = {name: np.concatenate([[0.0, 0.0], values]) for name, values in rows.items()}
    off["torque"] = off["torque"] + 0.05
    off["current"][1], off["power"][1] = motor.current.max(), motor.power.max()
    off["torque"][1] = motor.torque.max() + 0.05

    one, other = reduced(rows, motor), reduced(off, motor)

    assert other.metrics[M.INPUT_ROTOR_HELD].value == pytest.approx(motor.power.max())
    assert other.metrics[M.SHAFT_POWER_MAX_STEADY].value == pytest.approx(
        one.metrics[M.SHAFT_POWER_MAX_STEADY].value, rel=1e-3
    )
    assert len(other.points) == len(one.points)


def test_readings_off_a_video_keep_the_time_of_their_frame():
    motor, rows = table("induction")
    n = len(rows["speed"])

    made = recording(0.04 * np.arange(n) ** 2, **rows)
    plate = Plate(voltage_v=motor.voltage_v, supply=motor.supply)
    video = reduce_run(made, kind=RunKind.BRAKE, plate=plate, rig=Rig(), options=BY_HAND)
    plain = reduced(rows, motor)

    assert video.points[5].start_s == pytest.approx(1.0)
    assert video.trace is not None
    name = M.SHAFT_POWER_MAX_STEADY
    assert video.metrics[name].value == pytest.approx(plain.metrics[name].value, rel=1e-9)


def test_a_blank_cell_stays_blank_and_inertia_plays_no_part():
    motor, rows = table("series")
    rows["current"][4] = np.nan

    reduction = reduced(rows, motor, Rig(inertia_kg_m2=1.0))
    plain = reduced(rows, motor)

    assert reduction.points[4].current_a is None
    assert reduction.points == plain.points


RESTING = [
    ("current", M.SHAFT_POWER_AT_RATED_CURRENT),
    ("current", M.CURRENT_AT_MAX_STEADY_POWER),
    ("current", M.POWER_FACTOR_AT_EFFICIENCY_MAX),
    ("power", M.EFFICIENCY_MAX),
    ("power", M.INPUT_POWER_AT_MAX_STEADY_POWER),
    ("voltage", M.POWER_FACTOR_AT_RATED_CURRENT),
]


def at_plate(rows, motor, *, share: float = 0.4):
    """With a plate whose current lies between the readings."""
    n = len(rows["speed"])
    plate = Plate(current_a=share * float(motor.current.max()), supply=motor.supply)
    return reduce_run(
        recording(np.arange(float(n)), {"rows_without_time": True}, **rows),
        kind=RunKind.BRAKE,
        plate=plate,
        rig=Rig(),
        options=BY_HAND,
    )


@pytest.mark.parametrize(("blank", "figure"), RESTING)
@pytest.mark.parametrize("at", [[4], [2, 7]])
def test_a_blank_cell_among_others_costs_no_figure(blank, figure, at):
    motor, rows = table("series")
    whole = at_plate(rows, motor).metrics[figure]
    power = at_plate(rows, motor).metrics[M.SHAFT_POWER_MAX_STEADY].value
    rows[blank] = rows[blank].astype(float)
    rows[blank][at] = np.nan

    reduction = at_plate(rows, motor)
    metric = reduction.metrics[figure]

    assert metric.value == pytest.approx(whole.value, rel=0.02)
    assert 0.5 < metric.standard_uncertainty / whole.standard_uncertainty < 3
    assert metric.interval_low < metric.value < metric.interval_high
    # Nothing stands in for the reading, and what does not rest on it hardly moves: on its scatter
    # alone hangs which coordinate the power is a curve of.
    columns = {"current": "current_a", "power": "input_power_w", "voltage": "voltage_v"}
    assert [getattr(reduction.points[i], columns[blank]) for i in at] == [None] * len(at)
    other = reduction.metrics[M.SHAFT_POWER_MAX_STEADY].value
    assert other == pytest.approx(power, rel=0.005)
    told = {c.quantity: c.fit for c in reduction.curves}
    n = len(rows["speed"])
    assert f"through {n} points" in told["speed"]
    gone = {"current": "current", "power": "input_power", "voltage": "power_factor"}[blank]
    assert f"through {n - len(at)} points" in told[gone]


@pytest.mark.parametrize(("blank", "figure"), RESTING[:-1])
def test_what_a_blank_cell_at_an_end_costs_is_told_as_it_is(blank, figure):
    motor, rows = table("series")
    n = len(rows[blank])
    slowest = int(np.argmin(rows["speed"]))
    rows[blank][slowest] = np.nan

    reduction = at_plate(rows, motor)

    assert f"1 of {n} loads" in (reduction.metrics[figure].reason or "")
    # The plate's current was reached.
    codes = {f.code for f in reduction.findings}
    assert FindingCode.RATED_CURRENT_NOT_REACHED not in codes


def test_a_place_without_a_reading_leaves_the_curve_as_the_others_make_it():
    rng = np.random.default_rng(3)
    x = np.linspace(0.0, 1.0, 12)
    y, u = np.sin(3 * x) + rng.normal(0, 0.01, 12), np.full(12, 0.01)
    lacks = np.isin(np.arange(12), (4, 7))

    with_gaps = score_polynomials(x, np.where(lacks, 0.0, y), np.where(lacks, np.inf, u))
    without = score_polynomials(x[~lacks], y[~lacks], u[~lacks])

    assert len(with_gaps) == len(without)
    for (score, fit), (expected_score, expected) in zip(with_gaps, without, strict=True):
        assert score == pytest.approx(expected_score, rel=1e-9)
        assert fit.n_points == expected.n_points == 10
        assert fit.at(x) == pytest.approx(expected.at(x), rel=1e-9)
        assert fit.u_at(x) == pytest.approx(expected.u_at(x), rel=1e-6)


def test_at_rated_current_the_interval_holds_what_other_curves_say():
    """Fourteen readings of 0.5 % scatter can't tell how a series motor's power bends."""
    speed = np.linspace(LOWEST["series"], 0.995, 4001) * MOTORS["series"].free_speed
    n_held = 0
    for seed in range(40):
        motor, rows = table("series", n=10, seed=seed, scatter=0.005)
        power = at_plate(rows, motor, share=0.25).metrics[M.SHAFT_POWER_AT_RATED_CURRENT]
        i = int(np.argmin(np.abs(motor.read(speed, motor.current) - 0.25 * motor.current.max())))
        truth = motor.read(speed, motor.torque)[i] * speed[i]
        n_held += power.interval_low <= truth <= power.interval_high
        names = [line.component for line in power.budget]
        assert len(names) == len(set(names))
    assert n_held >= 35  # 38 on average, within two standard deviations; without it 32


def test_other_curves_count_for_what_rests_on_the_power_alone():
    motor, rows = table("series", n=10, seed=1, scatter=0.005)
    metrics = at_plate(rows, motor).metrics

    def has(name):
        return RATED_BY_CURVE in {line.component for line in metrics[name].budget}

    assert has(M.SHAFT_POWER_AT_RATED_CURRENT)
    assert has(M.TORQUE_AT_RATED_CURRENT)
    assert has(M.EFFICIENCY_AT_RATED_CURRENT)
    for name in (M.SPEED_AT_RATED_CURRENT, M.INPUT_POWER_AT_RATED_CURRENT, M.EFFICIENCY_MAX):
        line = [one for one in metrics[name].budget if one.component == RATED_BY_CURVE]
        assert all(one.share == 0 for one in line)


def test_a_slip_of_unit_is_told_beside_a_blank_cell():
    motor, rows = table("series")
    rows["power"][4] = np.nan
    rows["torque"] = rows["torque"] * 16.0

    codes = {f.code for f in reduced(rows, motor).findings}

    assert FindingCode.UNIT_SLIP in codes


def test_few_rows_are_a_lower_bound_and_force_without_an_arm_has_its_reason():
    motor, rows = table("series")
    few = {name: values[:3] for name, values in rows.items()}
    force = {**rows, "force": rows["torque"]}
    del force["torque"]

    bound = reduced(few, motor).metrics[M.SHAFT_POWER_MAX_STEADY]
    armless = reduced(force, motor).metrics[M.SHAFT_POWER_MAX_STEADY]
    armed = reduced(force, motor, Rig(arm_m=0.5)).metrics[M.SHAFT_POWER_MAX_STEADY]

    assert bound.lower_bound
    assert "arm" in armless.reason
    whole = reduced(rows, motor).metrics[M.SHAFT_POWER_MAX_STEADY]
    assert armed.value == pytest.approx(whole.value / 2, rel=1e-6)


def test_the_order_of_the_rows_does_not_matter():
    motor, rows = table("series")
    order = np.random.default_rng(5).permutation(len(rows["speed"]))
    mixed = {name: values[order] for name, values in rows.items()}

    one, other = reduced(rows, motor), reduced(mixed, motor)

    for name in (M.SHAFT_POWER_MAX_STEADY, M.EFFICIENCY_MAX):
        assert other.metrics[name].value == pytest.approx(one.metrics[name].value, rel=1e-3)
