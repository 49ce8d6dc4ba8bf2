"""Brake programmes: dwells down the load line, sweeps towards standstill and back, quick grabs."""

import numpy as np

from seed_data.brake import Plan, Step
from seed_data.motors import Line, Motor, load_line


def along_the_line(motor: Motor, line: Line, rig, lowest: float, n: int) -> list[float]:
    """`n` speeds from just under free to `lowest`, evenly spaced along the torque-speed curve."""
    speed, at = load_line(motor, line)
    net = at.torque_nm - rig.drag(speed)
    top = speed[np.flatnonzero(net > 0)[-1]]
    kept = (speed >= lowest) & (speed <= top)
    s, torque = speed[kept] / top, at.torque_nm[kept] / at.torque_nm[kept].max()
    length = np.concatenate(([0.0], np.cumsum(np.hypot(np.diff(s), np.diff(torque)))))
    wanted = np.linspace(length[-1], 0.0, n + 1)[1:]
    return [float(v) for v in np.interp(wanted, length, s * top)]


def dwells(speeds, *, hold_s: float, travel_s: float, interval_s: float, **extra) -> Plan:
    """Hold each speed in turn, release, then switch off."""
    steps = [Step(speed, travel_s, hold_s) for speed in speeds]
    return Plan((*steps, Step(None, 0.0, 2.0)), interval_s, **extra)


def sweep(
    lowest: float, highest: float, *, down_s: float, up_s: float, interval_s: float, **extra
) -> Plan:
    """Slow down steadily to `lowest`, back up to `highest`, then let go."""
    return Plan(
        (Step(lowest, down_s), Step(highest, up_s), Step(None, 0.0, 2.0)), interval_s, **extra
    )


def grab(lowest: float, *, down_s: float, interval_s: float, first=(), **extra) -> Plan:
    """Dwells at `first`, released, then the brake clamped shut within a moment."""
    steps = [Step(speed, 0.8, 3.0) for speed in first]
    steps += [Step(None, 0.0, 3.0), Step(lowest, down_s, 0.15), Step(None, 0.0, 1.0)]
    return Plan(tuple(steps), interval_s, **extra)
