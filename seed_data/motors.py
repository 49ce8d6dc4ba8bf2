"""Motors as equations: torque, current and power at a given speed and source voltage.

Every model gives torque at the shaft, so that friction, windage and iron loss are already paid
and efficiency goes to zero with the load. README.md of this folder derives them.
"""

from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np

RPM = 2 * np.pi / 60  # rad/s in one r/min


@dataclass(frozen=True)
class Line:
    """The supply as a source voltage behind a resistance and a reactance; 0 Hz is direct."""

    voltage_v: float
    frequency_hz: float = 60.0
    resistance_ohm: float = 0.0
    reactance_ohm: float = 0.0

    @property
    def is_ac(self) -> bool:
        return self.frequency_hz > 0


@dataclass(frozen=True)
class Losses:
    """What the rotor loses before its shaft: T = coulomb + viscous·ω + windage·ω²."""

    coulomb_nm: float = 0.0
    viscous_nms: float = 0.0
    windage_nms2: float = 0.0

    def torque(self, speed):
        return self.coulomb_nm + self.viscous_nms * speed + self.windage_nms2 * speed**2


@dataclass(frozen=True)
class Operating:
    """What a motor does at each speed. Voltage, current (rms) and power at its terminals."""

    torque_nm: np.ndarray
    current_a: np.ndarray
    power_w: np.ndarray
    voltage_v: np.ndarray


@dataclass(frozen=True)
class SeriesMotor:
    """Series wound, on alternating ("universal") or direct current, iron that saturates.

    EMF constant k(I) = k_sat·I/√(I² + I_knee²), less `reaction` of it per ampere for the
    armature's field. V² = (k(I)·ω + R·I + V_brush)² + (X·I)²; torque k(I)·I less losses.
    """

    k_sat_vs: float
    knee_a: float
    resistance_ohm: float
    reactance_ohm: float
    brush_drop_v: float
    iron_w: float  # at full flux and `iron_speed`, growing as ω^1.4
    iron_speed: float
    losses: Losses
    reaction_per_a: float = 0.0
    family: str = "series"

    def flux(self, current):
        saturated = self.k_sat_vs * current / np.hypot(current, self.knee_a)
        return saturated / (1 + self.reaction_per_a * current)

    def operate(self, speed, source_v, line: Line) -> Operating:
        r = self.resistance_ohm + line.resistance_ohm
        x = (self.reactance_ohm + line.reactance_ohm) if line.is_ac else 0.0
        speed, source = np.broadcast_arrays(np.asarray(speed, float), np.asarray(source_v, float))

        def excess(current):
            along = self.flux(current) * speed + r * current + self.brush_drop_v
            return np.hypot(along, x * current) - source

        current = _rising_root(excess, np.zeros_like(source), source / np.hypot(r, x))
        emf = self.flux(current) * speed
        along = emf + self.resistance_ohm * current + self.brush_drop_v
        across = self.reactance_ohm * current if line.is_ac else 0.0 * current
        iron = self.iron_w * (self.flux(current) / self.k_sat_vs) ** 2
        iron_nm = iron * (np.abs(speed) / self.iron_speed) ** 0.4 / self.iron_speed
        torque = self.flux(current) * current - iron_nm - self.losses.torque(speed)
        return Operating(torque, current, along * current, np.hypot(along, across))


@dataclass(frozen=True)
class MagnetMotor:
    """Permanent magnets: V = k·ω + R·I + V_brush, torque k·I less losses.

    On alternating current it sits behind a bridge without smoothing: its mean voltage is
    0.9 of the line's rms, the line's rms current 1.11 of its mean current.
    """

    k_vs: float
    resistance_ohm: float
    brush_drop_v: float
    iron_w: float
    iron_speed: float
    losses: Losses
    family: str = "permanent magnet"

    def operate(self, speed, source_v, line: Line) -> Operating:
        mean, form = (2 * np.sqrt(2) / np.pi, np.pi / np.sqrt(8)) if line.is_ac else (1.0, 1.0)
        speed, source = np.broadcast_arrays(np.asarray(speed, float), np.asarray(source_v, float))
        r = self.resistance_ohm + mean * form * line.resistance_ohm
        current = np.maximum(0.0, (mean * source - self.brush_drop_v - self.k_vs * speed) / r)
        terminal = source - line.resistance_ohm * form * current
        power = mean * terminal * current + self.resistance_ohm * current**2 * (form**2 - 1)
        iron_nm = self.iron_w * (np.abs(speed) / self.iron_speed) ** 0.4 / self.iron_speed
        torque = self.k_vs * current - iron_nm - self.losses.torque(speed)
        return Operating(torque, form * current, power, terminal)


@dataclass(frozen=True)
class InductionMotor:
    """Equivalent circuit per phase as the terminals see it.

    `backward` True: one winding on, two revolving fields (split phase, shaded pole); False:
    one field only (a run capacitor that balances the two windings). Core loss is a resistance
    across the terminals.
    """

    poles: int
    r1_ohm: float
    x1_ohm: float
    r2_ohm: float
    x2_ohm: float
    xm_ohm: float
    core_ohm: float
    losses: Losses
    backward: bool = True
    family: str = "induction"

    def synchronous(self, line: Line) -> float:
        return 4 * np.pi * line.frequency_hz / self.poles

    def operate(self, speed, source_v, line: Line) -> Operating:
        speed, source = np.broadcast_arrays(np.asarray(speed, float), np.asarray(source_v, float))
        sync = self.synchronous(line)
        slip = 1 - speed / sync
        slip = np.where(np.abs(slip) < 1e-9, 1e-9, slip)
        half = 0.5 if self.backward else 1.0
        forward = half * _beside(1j * self.xm_ohm, self.r2_ohm / slip + 1j * self.x2_ohm)
        back = half * _beside(1j * self.xm_ohm, self.r2_ohm / (2 - slip) + 1j * self.x2_ohm)
        back = back if self.backward else 0.0 * back
        winding = self.r1_ohm + 1j * self.x1_ohm + forward + back
        motor = _beside(winding, self.core_ohm)
        total = source / (motor + line.resistance_ohm + 1j * line.reactance_ohm)
        terminal = total * motor
        inside = np.abs(terminal / winding)
        torque = inside**2 * (forward.real - back.real) / sync - self.losses.torque(speed)
        power = (terminal * np.conj(total)).real
        return Operating(torque, np.abs(total), power, np.abs(terminal))


Motor = SeriesMotor | MagnetMotor | InductionMotor


@dataclass(frozen=True)
class Truth:
    """Figures of the motor on its line, by search over a fine grid of speeds."""

    free_speed: float
    shaft_power_max_steady: float
    speed_at_max: float
    torque_at_max: float
    current_at_max: float
    efficiency_at_max: float
    efficiency_max: float
    input_rotor_held: float


def _beside(a, b):
    return a * b / (a + b)


def _rising_root(function, low, high, steps: int = 50):
    """Root of a rising function between two arrays, by bisection on all elements at once."""
    low, high = low.copy(), high.copy()
    for _ in range(steps):
        middle = 0.5 * (low + high)
        above = function(middle) > 0
        high = np.where(above, middle, high)
        low = np.where(above, low, middle)
    return 0.5 * (low + high)


@lru_cache(maxsize=64)
def load_line(motor: Motor, line: Line, n: int = 4001):
    """Speeds from standstill to where the shaft torque ends, and what the motor does there."""
    if isinstance(motor, InductionMotor):
        top = motor.synchronous(line)
    elif isinstance(motor, MagnetMotor):
        top = line.voltage_v / motor.k_vs
    else:
        top = 40 * line.voltage_v / motor.k_sat_vs
    rough = np.linspace(0.0, top, 4001)
    positive = motor.operate(rough, line.voltage_v, line).torque_nm > 0
    last = int(np.flatnonzero(positive)[-1])
    speed = np.linspace(0.0, rough[min(last + 1, rough.size - 1)], n)
    return speed, motor.operate(speed, line.voltage_v, line)


@lru_cache(maxsize=64)
def truth(motor: Motor, line: Line, drag=None) -> Truth:
    """What a perfect bench would find; free speed with the bench's own drag on the shaft."""
    speed, at = load_line(motor, line)
    power = at.torque_nm * speed
    best = int(np.argmax(power))
    fine = np.linspace(speed[max(best - 1, 0)], speed[min(best + 1, speed.size - 1)], 401)
    near = motor.operate(fine, line.voltage_v, line)
    i = int(np.argmax(near.torque_nm * fine))
    carried = drag(speed) if drag is not None else 0.0 * speed
    free = speed[np.flatnonzero(at.torque_nm - carried > 0)[-1]]
    efficiency = power / np.maximum(at.power_w, 1e-9)
    return Truth(
        free_speed=float(free),
        shaft_power_max_steady=float(near.torque_nm[i] * fine[i]),
        speed_at_max=float(fine[i]),
        torque_at_max=float(near.torque_nm[i]),
        current_at_max=float(near.current_a[i]),
        efficiency_at_max=float(near.torque_nm[i] * fine[i] / near.power_w[i]),
        efficiency_max=float(efficiency.max()),
        input_rotor_held=float(at.power_w[0]),
    )


def warmed(motor: Motor, ratio: float) -> Motor:
    """The same motor with its windings' resistance `ratio` times as high."""
    if isinstance(motor, InductionMotor):
        return replace(motor, r1_ohm=motor.r1_ohm * ratio, r2_ohm=motor.r2_ohm * ratio)
    return replace(motor, resistance_ohm=motor.resistance_ohm * ratio)
