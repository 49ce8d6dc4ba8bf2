"""Brake runs with known truth: motor models, a rig that spoils them, and loggers that spoil more.

Shares no code with `server/reduction`. A run follows a prescribed speed, so that the motor's
torque, the brake's reading and every loss are exact at each instant.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

from server.model.bench import Plate, Rig
from server.model.recording import Recording
from server.model.words import Channel, MotorFamily, Supply

Floats = np.ndarray


@dataclass(frozen=True)
class Motor:
    """Steady characteristics over speed (rad/s), fine tables in rising speed."""

    family: MotorFamily
    supply: Supply
    voltage_v: float
    frequency_hz: float | None
    speed: Floats
    torque: Floats
    current: Floats
    power: Floats

    def read(self, speed: Floats, table: Floats) -> Floats:
        return np.interp(speed, self.speed, table)

    @property
    def free_speed(self) -> float:
        return float(np.interp(0.0, -self.torque, self.speed))

    def truth(self, low: float, high: float) -> dict[str, float]:
        """Highest shaft power and best efficiency between two speeds."""
        w = np.linspace(low, high, 20001)
        shaft = self.read(w, self.torque) * w
        eta = shaft / self.read(w, self.power)
        i, k = int(np.argmax(shaft)), int(np.argmax(eta))
        return {
            "power": float(shaft[i]),
            "speed": float(w[i]),
            "torque": float(shaft[i] / w[i]),
            "efficiency": float(eta[i]),
            "efficiency_max": float(eta[k]),
            "is_inside": bool(0.02 < i / w.size < 0.98),
        }


def universal(
    *, volts: float = 120.0, watts: float = 600.0, free_rpm: float = 24000.0, hz: float = 60.0
) -> Motor:
    """Series commutator motor on AC with saturation, brush drop, iron, friction and windage."""
    peak_a = 2.8 * watts / volts
    r = 0.36 * volts / peak_a
    x = 0.38 * volts / peak_a
    i = np.linspace(0.04, 1.6, 4000) * peak_a
    flux = i / np.sqrt(1 + (i / (0.3 * peak_a)) ** 2)
    emf = np.sqrt(np.maximum(volts**2 - (x * i) ** 2, 0)) - r * i - 2.0
    k = 1.0
    speed = emf / (k * flux)
    gross = k * flux * i
    scale = free_rpm * np.pi / 30
    # Windage torque grows with the square of speed; the constant k sets the free speed.
    keep = emf > 0
    speed, gross, i, flux = speed[keep], gross[keep], i[keep], flux[keep]
    w_ref = np.interp(0.25 * peak_a, i, speed)
    speed, gross = speed * scale / w_ref, gross * w_ref / scale
    loss = (0.3 * watts / scale) * (0.3 + 0.7 * (speed / scale) ** 2)
    iron = 0.25 * watts * (flux / peak_a) ** 2 * (speed / scale + 0.5)
    torque = gross - loss - iron / np.maximum(speed, scale * 0.05)
    power = r * i**2 + 2.0 * i + gross * speed
    order = np.argsort(speed)
    return Motor(
        MotorFamily.SERIES, Supply.AC, volts, hz,
        speed[order], torque[order], i[order], power[order],
    )  # fmt: skip


def permanent_magnet(
    *, volts: float = 24.0, stall_a: float = 40.0, free_rpm: float = 6000.0
) -> Motor:
    """Permanent-magnet motor on DC, with constant and speed-dependent loss torque."""
    w0 = free_rpm * np.pi / 30
    k, r = volts / w0, volts / stall_a
    speed = np.linspace(0, w0, 6000)
    i = (volts - k * speed) / r
    torque = k * i - 0.02 * k * stall_a - 0.02 * k * stall_a * speed / w0
    return Motor(MotorFamily.PERMANENT_MAGNET, Supply.DC, volts, None, speed, torque, i, volts * i)


def induction(
    *, volts: float = 230.0, watts: float = 550.0, poles: int = 4, hz: float = 50.0
) -> Motor:
    """Induction motor, exact circuit of one phase equivalent, with iron and friction losses."""
    ws = 4 * np.pi * hz / poles
    z = volts**2 / watts
    r1, x1, r2, x2, xm, rfe = 0.055 * z, 0.07 * z, 0.05 * z, 0.07 * z, 1.3 * z, 18 * z
    speed = np.linspace(0.4 * ws, 0.99999 * ws, 8000)
    s = 1 - speed / ws
    zr = r2 / s + 1j * x2
    zm = 1 / (1 / (1j * xm) + 1 / rfe)
    zp = zr * zm / (zr + zm)
    i1 = volts / (r1 + 1j * x1 + zp)
    i2 = i1 * zp / zr
    torque = np.abs(i2) ** 2 * r2 / s / ws - 0.015 * watts / ws
    return Motor(
        MotorFamily.INDUCTION, Supply.AC, volts, hz,
        speed, torque, np.abs(i1), np.real(volts * np.conj(i1)),
    )  # fmt: skip


@dataclass(frozen=True)
class Case:
    """How a run is made. Shares are of the value unless said otherwise."""

    motor: Motor
    lowest_speed_share: float = 0.3
    mode: str = "dwells"
    n_dwells: int = 12
    dwell_s: float = 3.0
    move_s: float = 0.5
    sweep_s: float = 30.0
    rate_hz: float = 50.0
    torque_noise: float = 0.01
    speed_noise: float = 0.001
    electric_noise: float = 0.002
    ripple: float = 0.0
    zero_nm: float = 0.0
    drift_nm: float = 0.0
    drag_share: float = 0.0
    inertia: float = 1e-4
    lag_s: float = 0.0
    sag: float = 0.0
    has_idle: bool = True
    has_start: bool = True
    jitter: float = 0.0
    with_power: str = "power"
    seed: int = 0
    extra: dict[str, float] = field(default_factory=dict)


@dataclass(frozen=True)
class Simulated:
    """`shaft_power_w` (n,): what the motor truly gave at each row."""

    recording: Recording
    plate: Plate
    rig: Rig
    truth: dict[str, float]
    case: Case
    shaft_power_w: Floats


def simulate(case: Case) -> Simulated:
    """Make one run. Torque is what the sensor shows; drag and inertia stand before it."""
    rng = np.random.default_rng(case.seed)
    motor = case.motor
    w_free = motor.free_speed
    t_max = float(motor.torque.max())
    drag_top = case.drag_share * t_max

    def drag(w: Floats) -> Floats:
        return drag_top * (0.3 + 0.7 * w / w_free) * (w > 0)

    # The unloaded brake still drags: the run's highest speed is where torque equals drag.
    grid = np.linspace(0.5 * w_free, w_free, 4000)
    w_top = float(grid[np.argmin(np.abs(motor.read(grid, motor.torque) - drag(grid)))])
    w_low = case.lowest_speed_share * w_free
    time_at, speed_at, on_off = _profile(case, w_top, w_low, motor)
    n = int(time_at[-1] * case.rate_hz) + 1
    time = np.arange(n) / case.rate_hz
    if case.jitter:
        time = time + rng.uniform(-0.4, 0.4, n) * case.jitter / case.rate_hz
        time = np.sort(time)
    fine = np.arange(0, time_at[-1] + 1e-3, 1e-3)
    wf = _smooth(np.interp(fine, time_at, speed_at), 0.08)
    speed = np.interp(time, fine, wf)
    accel = np.interp(time, fine, np.gradient(wf, fine))
    on = np.interp(time, on_off[0], on_off[1]) > 0.5
    motor_torque = np.where(on, motor.read(speed, motor.torque), 0.0)
    current = np.where(on, motor.read(speed, motor.current), 0.0)
    power = np.where(on, motor.read(speed, motor.power), 0.0)
    sensor = motor_torque - drag(speed) - case.inertia * accel
    sensor = np.where((speed > 1.0) & on, sensor, 0.0)
    if case.lag_s:
        sensor = np.interp(time - case.lag_s, time, sensor)
    if case.ripple and motor.frequency_hz:
        sensor = sensor * (1 + case.ripple * np.cos(4 * np.pi * motor.frequency_hz * time + 0.7))
    sensor = sensor * (1 + rng.normal(0, case.torque_noise, n)) + rng.normal(
        0, 0.2 * case.torque_noise * t_max, n
    )
    sensor = sensor + case.zero_nm + case.drift_nm * time / time[-1]
    shown_speed = speed + rng.normal(0, case.speed_noise, n) * speed
    volts = motor.voltage_v * (1 - case.sag * current / motor.current.max())
    noise = 1 + rng.normal(0, case.electric_noise, (3, n))
    channels = {
        Channel.SPEED: shown_speed,
        Channel.TORQUE: sensor,
        Channel.VOLTAGE: np.where(on, volts, 0.0) * noise[0],
        Channel.CURRENT: current * noise[1],
    }
    if case.with_power == "power":
        channels[Channel.POWER] = power * noise[2]
    elif case.with_power == "pf":
        with np.errstate(invalid="ignore", divide="ignore"):
            pf = np.where(on, power / (volts * np.maximum(current, 1e-9)), 0.0)
        channels[Channel.POWER_FACTOR] = pf * noise[2]
    table = np.linspace(0, w_free, 9)
    return Simulated(
        recording=Recording(
            time_s=time, channels={c: v.astype(np.float32) for c, v in channels.items()}
        ),
        plate=Plate(
            voltage_v=motor.voltage_v,
            supply=motor.supply,
            frequency_hz=motor.frequency_hz,
            motor_family=motor.family,
            current_a=float(0.6 * np.interp(w_low, motor.speed, motor.current)),
        ),
        rig=Rig(
            inertia_kg_m2=case.inertia,
            drag=tuple((float(w), float(drag(np.array(w)))) for w in table) if drag_top else (),
        ),
        truth=motor.truth(w_low, w_top),
        case=case,
        shaft_power_w=motor_torque * speed,
    )


def _profile(
    case: Case, w_top: float, w_low: float, motor: Motor
) -> tuple[Floats, Floats, tuple[Floats, Floats]]:
    times, speeds = [0.0], [0.0]

    def go(duration: float, speed: float) -> None:
        times.append(times[-1] + duration)
        speeds.append(speed)

    t_on = 0.0
    if case.has_idle:
        go(1.5, 0.0)
    if case.has_start:
        t_on = times[-1]
        go(0.8, 0.97 * w_top)
        go(0.5, w_top)
    else:
        times, speeds = [0.0], [w_top]
        t_on = -1.0
    # Equal steps of torque as a brake is turned up, by speed: the table's inverse.
    loads = _speeds_at_equal_steps(motor, w_top, w_low, 400)
    go(1.5, w_top)
    if case.mode == "dwells":
        for w in dwell_speeds(motor, w_top, w_low, case.n_dwells):
            go(case.move_s, float(w))
            go(case.dwell_s, float(w))
    elif case.mode in ("down", "both"):
        for w in loads:
            go(case.sweep_s / 400, float(w))
        if case.mode == "both":
            for w in loads[::-1]:
                go(case.sweep_s / 400, float(w))
    elif case.mode == "up":
        go(1.0, w_low)
        for w in loads[::-1]:
            go(case.sweep_s / 400, float(w))
    t_off = times[-1] + 0.3
    go(0.3, speeds[-1])
    if case.has_idle:
        go(1.5, 0.0)
        go(1.5, 0.0)
    edges = np.array([0.0, t_on, t_on + 1e-4, t_off, t_off + 1e-4, times[-1] + 1.0])
    return np.array(times), np.array(speeds), (edges, np.array([0.0, 0, 1, 1, 0, 0]))


def dwell_speeds(motor: Motor, w_top: float, w_low: float, n: int) -> Floats:
    """Where a run in dwells stands still."""
    return _speeds_at_equal_steps(motor, w_top, w_low, 400)[np.linspace(0, 399, n).astype(int)]


def _speeds_at_equal_steps(motor: Motor, w_top: float, w_low: float, n: int) -> Floats:
    """Speeds from top to low in equal steps along the normalised torque-speed curve."""
    w = np.linspace(w_top, w_low, 4000)
    t = motor.read(w, motor.torque) / motor.torque.max()
    length = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(t), np.diff(w) / w_top))))
    return np.interp(np.linspace(0, length[-1], n), length, w)


def _smooth(values: Floats, window_s: float) -> Floats:
    n = int(window_s / 1e-3) | 1
    kernel = np.hanning(n + 2)[1:-1]
    return np.convolve(np.pad(values, n // 2, mode="edge"), kernel / kernel.sum(), "valid")


MOTORS: dict[str, Callable[[], Motor]] = {
    "series": universal,
    "permanent magnet": permanent_magnet,
    "induction": induction,
}
