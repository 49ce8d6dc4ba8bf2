"""Energy is conserved: in the simulated motors, on the simulated rig, and in what reduction says.

First the simulator is held to account by itself (every watt drawn is a watt made or lost), since
the second half rests on it.
"""

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from seed_data.bench_file import bench_toml
from seed_data.brake import Plan, Readings, Step, brake_run
from seed_data.dialects import Dialect, write_log
from seed_data.motors import InductionMotor, Line, MagnetMotor, SeriesMotor, load_line, truth
from seed_data.per_unit import induction, magnet, series
from seed_data.plans import along_the_line, dwells
from seed_data.rigs import BrakeRig
from server.intake import read_bench, read_log
from server.model.results import Reduction, ReductionOptions
from server.model.words import MetricName, RunKind
from server.reduction import reduce_run

AC = Line(120.0, 60.0)
DC = Line(120.0, 0.0)
MOTORS = [
    (series(120, 10, 19000), AC),
    (series(120, 10, 19000), DC),
    (magnet(120, 10, 6000), DC),
    (magnet(108, 10, 6000), AC),
    (induction(120, 10, 60, 4), AC),
    (induction(120, 10, 60, 2, backward=False), AC),
]
NAMES = ["series AC", "series DC", "magnet DC", "magnet AC", "induction one", "induction two"]
RIG = BrakeRig(
    "still air",
    "eddy-current brake",
    3e-4,
    1.5e-4,
    drag_nm=0.01,
    drag_nms=5e-6,
    torque_range_nm=5.0,
    torque_noise_rel=1e-5,
    speed_noise_rel=1e-6,
    meter_noise_rel=1e-5,
)


def losses_w(motor, line: Line, speed, at):
    """Watts lost between terminals and shaft, component by component, by the motor's own parts."""
    mechanical = motor.losses.torque(speed) * speed
    if isinstance(motor, SeriesMotor | MagnetMotor):
        flux = motor.flux(at.current_a) / motor.k_sat_vs if isinstance(motor, SeriesMotor) else 1.0
        iron = motor.iron_w * flux**2 * (speed / motor.iron_speed) ** 1.4
        form = np.pi / np.sqrt(8) if isinstance(motor, MagnetMotor) and line.is_ac else 1.0
        brushes = motor.brush_drop_v * at.current_a / form
        return mechanical + iron + motor.resistance_ohm * at.current_a**2 + brushes
    core = at.voltage_v**2 / motor.core_ohm
    inside = _winding_current(motor, line, speed, at.voltage_v)
    copper = motor.r1_ohm * inside**2
    return mechanical + core + copper + inside**2 * _rotor_resistance_lost(motor, line, speed)


def _fields(motor: InductionMotor, line: Line, speed):
    slip = 1 - speed / motor.synchronous(line)
    half = 0.5 if motor.backward else 1.0
    for is_forward, s in ((True, slip), (False, 2 - slip)):
        rotor = motor.r2_ohm / s + 1j * motor.x2_ohm
        yield is_forward, s, half * rotor * 1j * motor.xm_ohm / (rotor + 1j * motor.xm_ohm)


def _winding_current(motor: InductionMotor, line: Line, speed, voltage):
    seen = [z for is_forward, _, z in _fields(motor, line, speed) if is_forward or motor.backward]
    return np.abs(voltage / (motor.r1_ohm + 1j * motor.x1_ohm + sum(seen)))


def _rotor_resistance_lost(motor: InductionMotor, line: Line, speed):
    """Of each field's power across the gap, its slip is lost in the rotor's copper."""
    kept = [s * z.real for fwd, s, z in _fields(motor, line, speed) if fwd or motor.backward]
    return sum(kept)


@pytest.mark.parametrize(("motor", "line"), MOTORS, ids=NAMES)
def test_every_watt_a_motor_draws_is_made_or_lost(motor, line: Line) -> None:
    top = truth(motor, line).free_speed
    speed = np.linspace(0.05 * top, 0.999 * top, 200)
    at = motor.operate(speed, line.voltage_v, line)
    made = at.torque_nm * speed
    np.testing.assert_allclose(made + losses_w(motor, line, speed, at), at.power_w, rtol=1e-9)
    assert np.all(at.power_w <= at.voltage_v * at.current_a * (1 + 1e-12))
    assert np.all(made < at.power_w)


def test_efficiency_goes_to_zero_with_the_load() -> None:
    for motor, line in MOTORS:
        speed, at = load_line(motor, line)
        loaded = at.torque_nm > 0
        last = np.flatnonzero(loaded)[-1]
        assert at.torque_nm[last] * speed[last] / at.power_w[last] < 0.05


def run_of(motor, line: Line, steps, interval_s: float = 0.01, rig: BrakeRig = RIG) -> Readings:
    plan = Plan(tuple(steps), interval_s, wobble_rel=0.0, supply_wobble_rel=0.0)
    return brake_run(motor, line, rig, plan, np.random.default_rng(7))


def test_work_at_the_shaft_is_brake_work_drag_and_stored_energy() -> None:
    motor, line = MOTORS[0]
    low = truth(motor, line, RIG.drag).speed_at_max * 0.8
    readings = run_of(motor, line, [Step(low, 3.0, 1.0), Step(2 * low, 2.0, 1.0)], 0.002)
    time, speed = readings.channels["time"], readings.true_speed
    part = (time > 8.0) & (time < time[readings.true_power_in > 0][-1])
    sensed = readings.channels["torque"][part] * speed[part]
    made = np.trapezoid(readings.true_torque[part] * speed[part], time[part])
    brake = np.trapezoid(sensed, time[part])
    drag = np.trapezoid(RIG.drag(speed[part]) * speed[part], time[part])
    stored = 0.5 * RIG.inertia * (speed[part][-1] ** 2 - speed[part][0] ** 2)
    assert made == pytest.approx(brake + drag + stored, rel=2e-4)
    assert abs(stored) > 0.02 * made  # else the term would not be tested


def reduce_readings(
    readings: Readings, line: Line, rig: BrakeRig, family: str, folder: Path
) -> Reduction:
    units = {"time": "s", "voltage": "V", "current": "A", "power": "W", "torque": "N·m"}
    units["speed"] = "rad/s"
    path = folder / "log.csv"
    path.write_bytes(write_log(readings.channels, units, Dialect(), np.random.default_rng(1)))
    top = float(readings.true_speed.max()) * 1.05
    bench = read_bench(
        bench_toml(
            {
                "plate": {
                    "voltage": f"{line.voltage_v:g} V",
                    "supply": "AC" if line.is_ac else "DC",
                    "motor_family": family,
                },
                "rig": {
                    "inertia": f"{rig.inertia:.6e} kg m^2",
                    "rotor_inertia": f"{rig.rotor_inertia:.6e} kg m^2",
                    "drag": [[f"{s} rad/s", f"{t} N m"] for s, t in rig.drag_table(top)],
                },
            }
        )
    )
    log = read_log(path, name="log.csv")
    return reduce_run(
        log.recording,
        kind=RunKind.BRAKE,
        plate=bench.plate,
        rig=bench.rig,
        options=ReductionOptions(),
    )


@pytest.mark.parametrize(("motor", "line"), MOTORS, ids=NAMES)
def test_what_reduction_says_is_lost_is_what_the_motor_loses(
    motor, line: Line, tmp_path: Path
) -> None:
    found = truth(motor, line, RIG.drag)
    lowest = found.speed_at_max * (0.95 if motor.family == "induction" else 0.6)
    torque = found.torque_at_max
    inertia = 0.5 * torque / found.free_speed  # runs up within a second, like a real stand
    rig = replace(RIG, torque_range_nm=3 * torque, inertia=inertia, rotor_inertia=inertia / 2)
    speeds = along_the_line(motor, line, rig, lowest, 9)
    plan = dwells(speeds, hold_s=3.0, travel_s=1.0, interval_s=0.02, supply_wobble_rel=0.0)
    readings = brake_run(motor, line, rig, plan, np.random.default_rng(3))
    reduction = reduce_readings(readings, line, rig, motor.family, tmp_path)
    points = [p for p in reduction.points if p.is_dwell and p.n_samples > 100]
    assert len(points) >= 9
    highest = max(point.torque_nm for point in points)
    for point in points:
        assert point.input_power_w is not None
        speed = np.array([point.speed_rad_s])
        at = motor.operate(speed, line.voltage_v, line)
        lost = float(losses_w(motor, line, speed, at)[0])
        shown = point.input_power_w - point.shaft_power_w
        # Parts of input, of shaft power, and of the torque that the sensor is made for.
        allowed = 0.004 * point.input_power_w + 0.003 * point.shaft_power_w
        allowed += 5e-4 * highest * point.speed_rad_s
        assert shown == pytest.approx(lost, abs=allowed)


def test_a_rotor_slowed_in_a_moment_gives_no_power_the_motor_did_not_make(tmp_path: Path) -> None:
    motor, line = MOTORS[0]
    found = truth(motor, line, RIG.drag)
    low = found.speed_at_max * 0.7
    speeds = along_the_line(motor, line, RIG, low, 8)
    steps = [Step(speed, 1.0, 3.0) for speed in speeds]
    steps += [Step(None, 0.0, 3.0), Step(low, 0.5, 0.5), Step(None, 0.0, 2.0)]
    readings = run_of(motor, line, steps, 0.005)
    reduction = reduce_readings(readings, line, RIG, motor.family, tmp_path)
    steady = reduction.metrics[MetricName.SHAFT_POWER_MAX_STEADY].value
    momentary = reduction.metrics[MetricName.SHAFT_POWER_MAX_MOMENTARY].value
    reading = reduction.metrics[MetricName.BRAKE_READING_WHILE_SLOWING].value
    assert steady == pytest.approx(found.shaft_power_max_steady, rel=0.01)
    assert momentary == pytest.approx(found.shaft_power_max_steady, rel=0.03)
    assert reading is not None
    assert reading > 1.2 * found.shaft_power_max_steady
