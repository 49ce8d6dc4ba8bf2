"""Runs of other kinds than the brake run, as a logger or a notebook holds them, and their truth.

A free rotor follows J·dω/dt = T_motor(ω) − T_load(t, ω), stepped by the midpoint rule; current and
power are the motor's at the speed and source voltage of the moment.
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from seed_data.motors import Line, Motor, load_line, truth, warmed
from seed_data.plans import along_the_line
from seed_data.rigs import BrakeRig, show_meter, show_speed, show_torque

STEP_S = 2e-3
IDLE_S = 2.0
REST_S = 1.0  # between the end of a fall and the next start
FAN_INERTIA = 2.5e-4  # a vacuum's two discs


@dataclass(frozen=True)
class Made:
    """Channels, SI, one array each, and the figures that were true, by name."""

    channels: dict[str, np.ndarray]
    true: dict[str, float]


Torque = Callable[[float, float], float]  # at a time and a speed


def run_downs(
    motor: Motor, line: Line, rig: BrakeRig, inertias: tuple[float, ...], interval_s: float, rng
) -> Made:
    """Under drive to nearly free, switched off, to rest; once with each inertia."""
    lost = _table(motor.losses.torque, 1.2 * truth(motor, line).free_speed)
    speeds, drives = [np.zeros(round(IDLE_S / STEP_S))], [np.zeros(round(IDLE_S / STEP_S))]
    top = 0.92 * truth(motor, line).free_speed
    for inertia in inertias:
        driven = _pull(motor, line)
        up = _turn(lambda t, w, pull=driven: pull(w), inertia, 0.0, until_above=top)
        down = _turn(lambda t, w: -lost(w), inertia, float(up[-1]), until_below=0.0)
        rest = np.zeros(round(REST_S / STEP_S))
        speeds += [up, down, rest]
        drives += [np.ones(up.size), np.zeros(down.size + rest.size)]
    time, speed, is_on = _sampled(np.concatenate(speeds), np.concatenate(drives), interval_s)
    losses = motor.losses
    true = {
        "drag_constant": losses.coulomb_nm,
        "drag_linear": losses.viscous_nms,
        "drag_quadratic": losses.windage_nms2,
    }
    true = {name: value for name, value in true.items() if value}
    if len(inertias) > 1:
        true["rotor_inertia"] = inertias[0]
    return Made(_shown(motor, line, rig, time, speed, is_on, rng), true)


def run_up(motor: Motor, line: Line, rig: BrakeRig, inertia: float, interval_s: float, rng) -> Made:
    """Switched on at rest, up to free speed, and left to turn a while."""
    pull = _pull(motor, line)
    found = truth(motor, line, rig.drag)
    up = _turn(
        lambda t, w: pull(w) - float(rig.drag(w)),
        inertia,
        0.0,
        until_above=0.9995 * found.free_speed,
    )
    speed = np.concatenate(
        (np.zeros(round(IDLE_S / STEP_S)), up, np.full(round(3.0 / STEP_S), up[-1]))
    )
    is_on = np.concatenate(
        (np.zeros(round(IDLE_S / STEP_S)), np.ones(speed.size - round(IDLE_S / STEP_S)))
    )
    time, speed, is_on = _sampled(speed, is_on, interval_s)
    true = {
        "shaft_power_max_momentary": found.shaft_power_max_steady,
        "torque_at_max_momentary_power": found.torque_at_max,
        "free_speed": found.free_speed,
    }
    return Made(_shown(motor, line, rig, time, speed, is_on, rng), true)


def in_use(
    motor: Motor,
    line: Line,
    rig: BrakeRig,
    inertia: float,
    load: tuple[tuple[float, float], ...],
    interval_s: float,
    rng,
) -> Made:
    """A fan's load, in proportion to speed squared, that changes from state to state."""
    found, pull = truth(motor, line), _pull(motor, line)
    per_square = found.torque_at_max / found.speed_at_max**2
    ends = np.cumsum([seconds for _, seconds in load])
    sizes = [part * per_square for part, _ in load]

    held = np.interp(np.arange(0, ends[-1], STEP_S), *_eased(ends, sizes))
    on = _turn(
        lambda t, w: pull(w) - held[min(int(t / STEP_S), held.size - 1)] * w * w,
        inertia, 0.0, seconds=float(ends[-1]),
    )  # fmt: skip
    off = _turn(
        lambda t, w: -float(motor.losses.torque(w)) - sizes[-1] * w * w,
        inertia, float(on[-1]), until_below=0.05 * float(on[-1]),
    )  # fmt: skip
    idle = np.zeros(round(IDLE_S / STEP_S))
    speed = np.concatenate((idle, on, off))
    is_on = np.concatenate((idle, np.ones(on.size), np.zeros(off.size)))
    time, speed, is_on = _sampled(speed, is_on, interval_s)
    longest = int(np.argmax([seconds for _, seconds in load]))
    at = float(on[int((ends[longest] - 1.0) / STEP_S)])
    there = motor.operate(np.array([at]), line.voltage_v, line)
    true = {
        "operating_speed": at,
        "shaft_power_in_use": float(there.torque_nm[0]) * at,
        "input_power_in_use": float(there.power_w[0]),
        "voltage_in_use": float(there.voltage_v[0]),
        "current_in_use": float(there.current_a[0]),
    }
    return Made(_shown(motor, line, rig, time, speed, is_on, rng), true)


def rotor_held(motor: Motor, line: Line, rig: BrakeRig, interval_s: float, rng) -> Made:
    """Two seconds on full voltage with the shaft pinned; the winding's resistance gains 1 %."""
    time = np.arange(0, 3 * IDLE_S, interval_s)
    is_on = (time >= IDLE_S) & (time < 2 * IDLE_S)
    still, source = np.zeros(time.size), np.full(time.size, line.voltage_v)
    cold = motor.operate(still, source, line)
    hot = warmed(motor, 1.01).operate(still, source, line)
    share = np.clip((time - IDLE_S) / IDLE_S, 0, 1)

    def moved(name: str, off: float = 0.0) -> np.ndarray:
        a, b = getattr(cold, name), getattr(hot, name)
        return np.where(is_on, a + (b - a) * share, off)

    torque = moved("torque_nm") + np.where(is_on, motor.losses.torque(0.0), 0.0)
    channels = {
        "time": time,
        "voltage": show_meter(rig, moved("voltage_v", line.voltage_v), 0, rng),
        "current": show_meter(rig, moved("current_a"), 1, rng),
        "power": show_meter(rig, moved("power_w"), 2, rng),
        "torque": show_torque(rig, time, torque, rng),
        "speed": np.zeros(time.size),
    }
    true = {
        "input_rotor_held": float(moved("power_w")[is_on].mean()),
        "current_rotor_held": float(moved("current_a")[is_on].mean()),
        "torque_rotor_held": float(torque[is_on].mean()),
        "shaft_power_rotor_held": 0.0,
    }
    return Made(channels, true)


def noted(motor: Motor, line: Line, rig: BrakeRig, n_loads: int, *, twice: bool, rng) -> Made:
    """At rest, then load after load down the line (and back up): displays read when steady."""
    found = truth(motor, line, rig.drag)
    loads = along_the_line(motor, line, rig, 0.65 * found.speed_at_max, n_loads)
    wanted = np.array([0.0, *loads, *(loads[::-1] if twice else ())])
    is_on = wanted > 0
    # A brake set by hand comes back to nearly the same load.
    speed = wanted * (1 + rng.normal(0, 0.003, wanted.size))
    speed = np.where(is_on, np.minimum(speed, found.free_speed), 0.0)
    at = motor.operate(speed, line.voltage_v, line)
    time = np.cumsum(np.where(is_on, 12.0, 4.0) + rng.uniform(0, 5, wanted.size))
    sensor = np.where(is_on, at.torque_nm - rig.drag(speed), 0.0)
    channels = {
        "time": time,
        "voltage": show_meter(rig, np.where(is_on, at.voltage_v, line.voltage_v), 0, rng),
        "current": show_meter(rig, np.where(is_on, at.current_a, 0.0), 1, rng),
        "power": show_meter(rig, np.where(is_on, at.power_w, 0.0), 2, rng),
        "torque": show_torque(rig, time, sensor, rng),
        "speed": show_speed(rig, time, speed, rng),
    }
    true = {
        "shaft_power_max_steady": found.shaft_power_max_steady,
        "speed_at_max_steady_power": found.speed_at_max,
        "efficiency_max": found.efficiency_max,
    }
    return Made(channels, true)


def _table(of_speed, top: float, n: int = 4001) -> Callable[[float], float]:
    """A function of speed by straight lines between `n` values: quick to ask, one at a time."""
    values = np.asarray(of_speed(np.linspace(0.0, top, n)), dtype=float).tolist()
    per = (n - 1) / top

    def at(speed: float) -> float:
        x = min(max(speed, 0.0) * per, n - 1.001)
        i = int(x)
        return values[i] + (x - i) * (values[i + 1] - values[i])

    return at


def _pull(motor: Motor, line: Line) -> Callable[[float], float]:
    """Shaft torque over speed; where one field alone can't start the rotor, a winding helps."""
    speed, at = load_line(motor, line)
    torque = at.torque_nm
    if getattr(motor, "backward", False):
        helped = np.maximum(torque, 0.4 * torque.max())
        torque = np.where(speed < 0.75 * speed[-1], helped, torque)
    return _table(lambda w: np.interp(w, speed, torque), float(speed[-1]))


def _turn(
    net: Torque,
    inertia: float,
    start: float,
    *,
    until_above: float = np.inf,
    until_below: float = -1.0,
    seconds: float = 240.0,
) -> np.ndarray:
    """Speed every `STEP_S` from `start` until it passes a bound, or the time is over."""
    speeds, w = [], start
    for i in range(round(seconds / STEP_S)):
        t = i * STEP_S
        half = w + 0.5 * STEP_S * net(t, w) / inertia
        w = max(w + STEP_S * net(t + 0.5 * STEP_S, half) / inertia, 0.0)
        speeds.append(w)
        if w >= until_above or w <= until_below:
            break
    return np.array(speeds)


def _eased(ends: np.ndarray, sizes: list[float], over_s: float = 0.6):
    """A nozzle takes a moment to lift: straight from one size to the next."""
    times, values = [0.0], [sizes[0]]
    for end, before, after in zip(ends[:-1], sizes[:-1], sizes[1:], strict=True):
        times += [float(end), float(end) + over_s]
        values += [before, after]
    return times, values


def _sampled(speed: np.ndarray, is_on: np.ndarray, interval_s: float):
    step = max(1, round(interval_s / STEP_S))
    rows = slice(None, None, step)
    return np.arange(speed.size)[rows] * STEP_S, speed[rows], is_on[rows] > 0.5


def _shown(motor: Motor, line: Line, rig: BrakeRig, time, speed, is_on, rng):
    at = motor.operate(speed, line.voltage_v, line)
    return {
        "time": time,
        "voltage": show_meter(rig, np.where(is_on, at.voltage_v, line.voltage_v), 0, rng),
        "current": show_meter(rig, np.where(is_on, at.current_a, 0.0), 1, rng),
        "power": show_meter(rig, np.where(is_on, at.power_w, 0.0), 2, rng),
        "speed": show_speed(rig, time, speed, rng),
    }
