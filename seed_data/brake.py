"""A brake run in time: the brake leads the speed, the motor answers, the sensors look on.

The speed is prescribed as a smooth function of time, so that its derivative is known exactly
and the torque at the sensor is the motor's less drag less inertia × angular acceleration.
Run-up and run-down are solved from J·dω/dt = T(ω) − drag(ω), brake open.
"""

from dataclasses import dataclass, field

import numpy as np

from seed_data.motors import Line, Motor, load_line
from seed_data.rigs import BrakeRig, show_meter, show_speed, show_torque


@dataclass(frozen=True)
class Step:
    """Go to `speed` within `travel_s` and hold it for `hold_s`. None: the brake opens."""

    speed: float | None
    travel_s: float
    hold_s: float = 0.0


@dataclass(frozen=True)
class Plan:
    """What the brake does between switching on and off, and how densely it is logged."""

    steps: tuple[Step, ...]
    interval_s: float
    idle_before_s: float = 4.0
    idle_after_s: float = 4.0
    free_s: float = 4.0
    end_early: str | None = None  # "fuse": current ends while loaded; "seizure": rotor too
    wobble_rel: float = 3e-4
    supply_wobble_rel: float = 5e-4


@dataclass(frozen=True)
class Readings:
    """What the logger holds, SI, one array a channel, and what was true at the same times."""

    channels: dict[str, np.ndarray]
    true_torque: np.ndarray = field(repr=False)
    true_speed: np.ndarray = field(repr=False)
    true_power_in: np.ndarray = field(repr=False)


def brake_run(motor: Motor, line: Line, rig: BrakeRig, plan: Plan, rng) -> Readings:
    """Carry out `plan` and log it."""
    curve = _FreeMotion(motor, line, rig)
    time, speed, slope, is_on, is_free = _course(curve, plan)
    speed, slope = _wobble(time, speed, slope, is_on, plan.wobble_rel, rng)
    source = line.voltage_v * (1 + _slow_noise(time, plan.supply_wobble_rel, rng))
    at = motor.operate(speed, source, line)
    at_shaft = np.where(is_on, at.torque_nm, -motor.losses.torque(speed) * (speed > 0))
    at_shaft = np.where(is_free, rig.drag(speed) + rig.inertia * slope, at_shaft)
    current = np.where(is_on, at.current_a, 0.0)
    power = np.where(is_on, at.power_w, 0.0)
    voltage = np.where(is_on, at.voltage_v, source)
    at_sensor = at_shaft - rig.drag(speed) - rig.inertia * slope
    at_sensor = np.where((speed <= 0) & ~is_on, 0.0, at_sensor)
    channels = {
        "time": time,
        "voltage": show_meter(rig, voltage, 0, rng),
        "current": show_meter(rig, current, 1, rng),
        "power": show_meter(rig, power, 2, rng),
        "torque": show_torque(rig, time, at_sensor, rng),
        "speed": show_speed(rig, time, speed, rng),
        "frequency": line.frequency_hz * (1 + _slow_noise(time, 1e-4, rng)),
        "brake_setting": np.round(100 * np.clip(at_sensor / rig.torque_range_nm, 0, 1)),
        "temperature_1": _warming(time, power - at_shaft * speed),
    }
    return Readings(channels, at_shaft, speed, power)


class _FreeMotion:
    """Speed over time with the brake open: run-up, and run-down from any speed."""

    def __init__(self, motor: Motor, line: Line, rig: BrakeRig) -> None:
        speed, at = load_line(motor, line, 6001)
        net = at.torque_nm - rig.drag(speed)
        self.free_speed = float(speed[np.flatnonzero(net > 0)[-1]])
        up = np.linspace(0.0, self.free_speed * 0.9995, 3001)
        pull = np.interp(up, speed, net)
        if getattr(motor, "backward", False):
            # One field alone cannot start a rotor: a start winding pulls to 75 % of its speed.
            pull = np.where(up < 0.75 * self.free_speed, np.maximum(pull, 0.4 * net.max()), pull)
        self.up_speed, self.up_slope = up, np.maximum(pull, 1e-9) / rig.inertia
        self.up_time = _elapsed(up, 1 / self.up_slope)
        down = np.linspace(self.free_speed, 0.0, 3001)
        hold = motor.losses.torque(down) + rig.drag(down)
        self.down_speed, self.down_slope = down, -np.maximum(hold, 1e-6) / rig.inertia
        self.down_time = _elapsed(down, 1 / self.down_slope)

    @property
    def nearly_free(self) -> float:
        return float(self.up_speed[-1])

    def run_up_seconds(self, from_speed: float) -> float:
        return float(self.up_time[-1] - np.interp(from_speed, self.up_speed, self.up_time)) + 0.05

    def run_up(self, since, from_speed: float):
        at = since + np.interp(from_speed, self.up_speed, self.up_time)
        return (
            np.interp(at, self.up_time, self.up_speed),
            np.interp(at, self.up_time, self.up_slope, right=0.0),
        )

    def run_down(self, since, from_speed: float):
        begun = np.interp(-from_speed, -self.down_speed, self.down_time)
        at = since + begun
        return (
            np.interp(at, self.down_time, self.down_speed),
            np.interp(at, self.down_time, self.down_slope, right=0.0),
        )


def _elapsed(speed, per_speed):
    return np.concatenate(
        ([0.0], np.cumsum(0.5 * (per_speed[1:] + per_speed[:-1]) * np.diff(speed)))
    )


def _course(curve: _FreeMotion, plan: Plan):
    """Time, speed, dω/dt, whether the supply is on and the brake open, row by row."""
    on_at = plan.idle_before_s
    pieces, off_at, off_speed = _pieces(curve, plan)
    coast_s = 0.02 if plan.end_early == "seizure" else _coast_seconds(curve, off_speed)
    time = np.arange(0.0, off_at + coast_s + plan.idle_after_s, plan.interval_s)
    speed, slope = np.zeros_like(time), np.zeros_like(time)
    is_free = np.zeros(time.size, bool)
    for kind, t0, t1, s0, s1 in pieces:
        rows = (time >= t0) & (time < t1)
        if kind == "release":
            speed[rows], slope[rows] = curve.run_up(time[rows] - t0, s0)
            is_free |= rows
            continue
        u = (time[rows] - t0) / (t1 - t0)
        speed[rows] = s0 + (s1 - s0) * u**2 * (3 - 2 * u)
        slope[rows] = (s1 - s0) * 6 * u * (1 - u) / (t1 - t0)
    after = time >= off_at
    if plan.end_early != "seizure":
        speed[after], slope[after] = curve.run_down(time[after] - off_at, off_speed)
    return time, speed, slope, (time >= on_at) & (time < off_at), is_free


def _pieces(curve: _FreeMotion, plan: Plan):
    """(kind, start, end, first speed, last speed) of each part from switching on to off."""
    pieces: list[tuple[str, float, float, float, float]] = []
    now, speed = plan.idle_before_s, 0.0

    def release() -> None:
        nonlocal now, speed
        ends = now + curve.run_up_seconds(speed)
        pieces.append(("release", now, ends, speed, curve.nearly_free))
        now, speed = ends, curve.nearly_free

    def lead(target: float, seconds: float) -> None:
        nonlocal now, speed
        if seconds > 0:
            pieces.append(("lead", now, now + seconds, speed, target))
        now, speed = now + seconds, target

    release()
    lead(curve.free_speed, plan.free_s)
    for step in plan.steps:
        if step.speed is None:
            release()
            lead(curve.free_speed, step.hold_s)
            continue
        lead(step.speed, step.travel_s)
        lead(step.speed, step.hold_s)
    return pieces, now, speed


def _coast_seconds(curve: _FreeMotion, speed: float) -> float:
    begun = np.interp(-speed, -curve.down_speed, curve.down_time)
    return float(min(curve.down_time[-1] - begun, 30.0)) + 0.5


def _wobble(time, speed, slope, is_on, size_rel: float, rng):
    """A brake never holds a speed exactly: a few slow sines, with their derivative."""
    wobble, rate = np.zeros_like(time), np.zeros_like(time)
    for _ in range(3):
        omega, phase = 2 * np.pi * rng.uniform(0.2, 1.2), rng.uniform(0, 2 * np.pi)
        wobble += np.sin(omega * time + phase) / 3
        rate += omega * np.cos(omega * time + phase) / 3
    held = is_on & (np.abs(slope) < 1e-12) & (speed > 0)
    free = float(speed.max())
    # An induction motor's torque hangs on its slip: a brake holds that far steadier.
    scale = np.where(held, size_rel * np.minimum(speed, 3 * (free - speed)), 0.0)
    return speed + scale * wobble, slope + scale * rate


def _slow_noise(time, size_rel: float, rng):
    """Noise that wanders over seconds: white noise smoothed over some 3 s."""
    n_knots = max(4, int(time[-1] / 3) + 2)
    knots = np.linspace(time[0], time[-1], n_knots)
    return np.interp(time, knots, rng.normal(0.0, size_rel, n_knots))


def _warming(time, heat_w, tau_s: float = 600.0, kelvin_per_w: float = 0.12):
    """A winding's temperature, kelvin: one body, stepped once a second."""
    seconds = np.arange(time[0], time[-1] + 2.0)
    heat = np.interp(seconds, time, np.maximum(heat_w, 0.0))
    above, kept = np.zeros_like(seconds), np.exp(-1.0 / tau_s)
    for i in range(1, seconds.size):
        above[i] = kept * above[i - 1] + (1 - kept) * kelvin_per_w * heat[i]
    return 295.0 + np.interp(time, seconds, above)


def seconds_needed(motor: Motor, line: Line, rig: BrakeRig, plan: Plan) -> float:
    """How long `plan` takes until the rotor stands again."""
    curve = _FreeMotion(motor, line, rig)
    _, off_at, off_speed = _pieces(curve, plan)
    return off_at + _coast_seconds(curve, off_speed)
