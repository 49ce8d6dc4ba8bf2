"""Torque at the motor's shaft, per block: sensor, drag lost before it, and inertia."""

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from server.model.bench import Rig
from server.reduction.arrays import Floats
from server.reduction.blocks import Blocks
from server.reduction.derivative import adaptive_slope
from server.reduction.zero import Zero

DERIVATIVE_WINDOW_S = 0.3
DERIVATIVE_DOUBLINGS = 3
LEAST_FOR_SLOPE = 4


@dataclass(frozen=True, slots=True)
class Shaft:
    """(m,) per block. `brake_*` is zeroed but neither drag nor inertia is in it."""

    speed: Floats
    acceleration: Floats
    u_inertia_torque: Floats
    brake_torque: Floats
    brake_power: Floats
    torque: Floats
    power: Floats
    drag_torque: Floats
    speed_sign: int
    torque_sign: int
    has_inertia: bool
    inertia_kg_m2: float


def shaft_torque(
    blocks: Blocks, zero: Zero, rig: Rig, *, torque_sign: int, speed_sign: int
) -> Shaft:
    """Torque and power at the motor's shaft.

    Model:  T = T_sensor - zero + drag(|w|) + J dw/dt,   P = mean(T_sensor w) - zero w + ...

    Parameters
    ----------
    torque_sign, speed_sign : +1 or -1, so that a driving motor has positive speed and power.
    rig : `drag` is interpolated in speed and held beyond its ends (0 at standstill);
        `inertia_kg_m2` everything that turns between air gap and sensor; absent: no inertia
        term, and `has_inertia` False.

    Notes
    -----
    dw/dt is the slope of a straight line through a window of 0.3 s (or 3 blocks; -3 dB at 2 Hz),
    and of up to 2.4 s where the longer windows agree with it; see derivative.py.
    """
    speed = speed_sign * blocks.speed
    brake_torque = torque_sign * (blocks.torque - zero.offset_nm)
    brake_power = torque_sign * speed_sign * (blocks.brake_power - zero.offset_nm * blocks.speed)
    drag = drag_torque(speed, rig)
    acceleration, u_acceleration = adaptive_slope(
        blocks.time_s, speed, window_s=DERIVATIVE_WINDOW_S, doublings=DERIVATIVE_DOUBLINGS
    )
    inertia = rig.inertia_kg_m2 or 0.0
    extra = drag + inertia * acceleration
    return Shaft(
        speed=speed,
        acceleration=acceleration,
        u_inertia_torque=inertia * u_acceleration,
        brake_torque=brake_torque,
        brake_power=brake_power,
        torque=brake_torque + extra,
        power=brake_power + extra * speed,
        drag_torque=drag,
        speed_sign=speed_sign,
        torque_sign=torque_sign,
        has_inertia=rig.inertia_kg_m2 is not None,
        inertia_kg_m2=inertia,
    )


def with_dwell_slopes(shaft: Shaft, time_s: Floats, dwells: Iterable[tuple[int, int]]) -> Shaft:
    """Take the inertia term of each dwell from the dwell's own blocks alone.

    Model:  as in `shaft_torque`, the windows cut at the dwell's ends

    Parameters
    ----------
    dwells : first and end block (exclusive) of each.

    Notes
    -----
    The sliding windows of `shaft_torque` reach over a dwell's ends, where the brake is moved and
    the acceleration is many times what it is within.
    """
    if not shaft.inertia_kg_m2:
        return shaft
    rate, u_torque = shaft.acceleration.copy(), shaft.u_inertia_torque.copy()
    for first, end in dwells:
        if end - first < LEAST_FOR_SLOPE:
            continue
        rate[first:end], u_rate = adaptive_slope(
            time_s[first:end],
            shaft.speed[first:end],
            window_s=DERIVATIVE_WINDOW_S,
            doublings=DERIVATIVE_DOUBLINGS,
        )
        u_torque[first:end] = shaft.inertia_kg_m2 * u_rate
    extra = shaft.inertia_kg_m2 * (rate - shaft.acceleration)
    return replace(
        shaft,
        acceleration=rate,
        u_inertia_torque=u_torque,
        torque=shaft.torque + extra,
        power=shaft.power + extra * shaft.speed,
    )


def drag_torque(speed_rad_s: Floats, rig: Rig) -> Floats:
    """Torque (N m, never negative) lost before the sensor, interpolated in the rig's table."""
    if not rig.drag:
        return np.zeros_like(speed_rad_s)
    pairs = sorted(rig.drag)
    at = [abs(s) for s, _ in pairs]
    lost = [abs(t) for _, t in pairs]
    return np.interp(np.abs(speed_rad_s), at, lost)
