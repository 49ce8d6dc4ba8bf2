"""Runs of other kinds than brake with known truth. Shares no code with `server/reduction`."""

from __future__ import annotations

from functools import cache

import numpy as np

from server.model.bench import Plate
from server.model.recording import Recording
from server.model.words import Channel, Supply
from tests.reduction.simulate import Motor

Floats = np.ndarray


def recording(time: Floats, notes: dict | None = None, **channels: Floats) -> Recording:
    return Recording(
        time_s=time,
        channels={Channel(name): np.asarray(v, dtype=np.float32) for name, v in channels.items()},
        notes=notes or {},
    )


@cache
def coast(
    start: float, inertia: float, drag: tuple[float, float, float], length_s: float
) -> tuple[Floats, Floats]:
    """Times and speeds under drag c0 + c1 w + c2 w^2 from `start`; it stops at zero."""
    step = 5e-4
    n = int(length_s / step) + 2
    speed = np.zeros(n)
    speed[0] = start
    c0, c1, c2 = drag
    for i in range(1, n):
        w = speed[i - 1]
        half = w - step / 2 * (c0 + c1 * w + c2 * w * w) / inertia
        speed[i] = max(0.0, w - step * (c0 + c1 * half + c2 * half * half) / inertia)
        if speed[i] == 0.0:
            break
    return np.arange(n) * step, speed


def run_down(
    *,
    inertia: float = 1.2e-4,
    drag: tuple[float, float, float] = (4e-3, 2e-6, 3e-9),
    start: float = 2200.0,
    length_s: float = 25.0,
    rate_hz: float = 50.0,
    noise: float = 1.0,
    has_current: bool = True,
    seed: int = 0,
) -> Recording:
    """Two seconds under drive, then coasting."""
    rng = np.random.default_rng(seed)
    time = np.arange(0, length_s + 2.0, 1 / rate_hz)
    falling = np.interp(time - 2.0, *coast(start, inertia, drag, length_s))
    speed = np.abs(falling + rng.normal(0, noise, time.size))
    channels = {"speed": speed}
    if has_current:
        channels["current"] = np.where(time < 2.0, 2.0, 0.0)
    return recording(time, **channels)


MOTOR_K, MOTOR_R, MOTOR_V, MOTOR_LOSS_NM = 0.05, 4.0, 120.0, 0.02
MOTOR_PLATE = Plate(voltage_v=MOTOR_V, supply=Supply.DC)


def motor_torque(speed: Floats | float) -> Floats:
    """Permanent-magnet motor with a constant loss torque."""
    return MOTOR_K * (MOTOR_V - MOTOR_K * np.asarray(speed)) / MOTOR_R - MOTOR_LOSS_NM


def run_up(
    *, inertia: float = 3e-4, rate_hz: float = 1000.0, noise: float = 2.0, seed: int = 0
) -> tuple[Recording, dict[str, float]]:
    """Closed form: the speed nears its end exponentially."""
    rng = np.random.default_rng(seed)
    stall = float(motor_torque(0.0))
    slope = MOTOR_K**2 / MOTOR_R
    free, tau = stall / slope, inertia / slope
    time = np.arange(0, 1.0 + 12 * tau, 1 / rate_hz)
    on = time >= 1.0
    speed = np.where(on, free * (1 - np.exp(-np.maximum(time - 1.0, 0) / tau)), 0.0)
    current = np.where(on, (MOTOR_V - MOTOR_K * speed) / MOTOR_R, 0.0)
    made = recording(
        time,
        speed=speed + rng.normal(0, noise, time.size),
        current=current,
        voltage=np.where(on, MOTOR_V, 0.0),
    )
    return made, {"power": stall * free / 4, "speed": free / 2, "torque": stall / 2, "free": free}


def run_up_of(
    motor: Motor, *, inertia: float, rate_hz: float = 1000.0, noise_rel: float = 2e-4, seed: int = 0
) -> Recording:
    """A motor of known characteristics from standstill; below its table its torque stays."""
    rng, step, w = np.random.default_rng(seed), 2e-4, 0.0
    speeds = [0.0]

    def slope(at: float) -> float:
        return float(motor.read(np.array(at), motor.torque)) / inertia

    while w < 0.985 * motor.free_speed:
        w += step * slope(w + step / 2 * slope(w))
        speeds.append(w)
    after = np.arange(len(speeds)) * step
    time = np.arange(0, 1.0 + after[-1], 1 / rate_hz)
    on = time >= 1.0
    speed = np.where(on, np.interp(time - 1.0, after, speeds), 0.0)
    shown = {
        "current": np.where(on, motor.read(speed, motor.current), 0.0),
        "power": np.where(on, motor.read(speed, motor.power), 0.0),
        "voltage": np.where(on, motor.voltage_v, 0.0),
    }
    shown = {n: v * (1 + 2e-3 * rng.standard_normal(time.size)) for n, v in shown.items()}
    noise = noise_rel * motor.free_speed * rng.standard_normal(time.size)
    return recording(time, speed=np.abs(speed + noise), **shown)
