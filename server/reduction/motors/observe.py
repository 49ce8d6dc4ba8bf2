"""Load points as what a motor's law is fitted to, and the errors all of them share."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from server.model.bench import Plate, Rig
from server.model.results import LoadPoint
from server.model.words import Channel, Supply
from server.reduction.arrays import Floats
from server.reduction.instruments import Limits, channel_limits, torque_limits
from server.reduction.leads import motor_voltage
from server.reduction.loadline import pooled_u
from server.reduction.motors.law import OUTPUTS, Observed, State
from server.reduction.uncertainty.components import rig_errors

MIN_POINTS = 6
MAX_POINTS = 60  # more are thinned: they cost time and fix nothing further
SLOWEST = 0.01  # of the fastest speed: slower is a held rotor


@dataclass(frozen=True, slots=True)
class RunError:
    """An error that all points of a run share: of one channel, gain (relative) or offset (SI)."""

    channel: Channel
    gain: float = 0.0
    offset: float = 0.0

    def of(self, value: Floats) -> Floats:
        """One standard uncertainty of this error at each reading."""
        return np.asarray(self.gain * np.abs(value) + self.offset)


def observe(points: Sequence[LoadPoint], plate: Plate, rig: Rig | None = None) -> Observed | str:
    """Gather the load points, ordered from fast to slow.

    Returns
    -------
    Observed, or the reason why there is nothing to fit: "fewer than 6 load points", "current was
    logged at fewer", "supply is not known", "input power was logged at fewer" (alternating
    current). Points without either are left out.

    Notes
    -----
    Where the voltage was not logged the plate's is taken. On direct current input power is volts
    times amperes and no channel of its own. On alternating current the leads' part of a logged
    voltage is taken off here: points hold the meter's.
    """
    if plate.supply is None:
        return "the plate does not say whether the supply is AC or DC"
    is_ac = plate.supply is Supply.AC
    fastest = max((p.speed_rad_s for p in points), default=0.0)
    usable = [p for p in points if p.speed_rad_s > SLOWEST * fastest]
    with_current = [p for p in usable if p.current_a is not None and p.current_a > 0]
    whole = [p for p in with_current if not is_ac or (p.input_power_w or 0.0) > 0]
    if len(with_current) < min(MIN_POINTS, len(usable)):
        return f"current was logged at fewer than {MIN_POINTS} load points"
    if len(whole) < min(MIN_POINTS, len(with_current)):
        return f"input power was logged at fewer than {MIN_POINTS} load points"
    usable = whole  # a blank cell of a table leaves that row out, not the fit
    if plate.voltage_v is None and any(p.voltage_v is None for p in usable):
        return "voltage was not logged, and the plate gives none"
    usable = _thinned(sorted(usable, key=lambda p: -p.speed_rad_s))
    if len(usable) < MIN_POINTS:
        return f"fewer than {MIN_POINTS} load points"
    place = {id(p): i for i, p in enumerate(points)}
    rows = tuple(place[id(p)] for p in usable)
    return _arrays(usable, plate, rig or Rig(), is_ac=is_ac, rows=rows)


def run_errors(
    rig: Rig, torque_channel: Channel, *, is_ac: bool, ambient_k: float | None = None
) -> tuple[RunError, ...]:
    """The instruments' limits as errors shared by all points of the run."""
    found: list[RunError] = []
    for channel in (Channel.VOLTAGE, Channel.SPEED, Channel.CURRENT, Channel.POWER):
        if channel is not Channel.POWER or is_ac:
            found += _of_limits(channel, channel_limits(rig, channel, ambient_k))
    found += _of_limits(Channel.TORQUE, torque_limits(rig, torque_channel, ambient_k))
    if torque_channel is Channel.FORCE and rig.arm_uncertainty_rel is not None:
        found.append(RunError(Channel.TORQUE, gain=rig.arm_uncertainty_rel))
    stated = rig_errors(rig)
    if torque_channel is Channel.FORCE and stated.arm_angle is not None:
        found.append(RunError(Channel.TORQUE, gain=stated.arm_angle.standard_uncertainty))
    if stated.pivot is not None:
        found.append(RunError(Channel.TORQUE, offset=stated.pivot.standard_uncertainty))
    return tuple(found)


def _of_limits(channel: Channel, limits: Limits) -> list[RunError]:
    errors = [RunError(channel, gain=limits.gain), RunError(channel, offset=limits.offset)]
    return [e for e in errors if e.gain > 0 or e.offset > 0]


def _thinned(points: list[LoadPoint]) -> list[LoadPoint]:
    if len(points) <= MAX_POINTS:
        return points
    kept = np.unique(np.linspace(0, len(points) - 1, MAX_POINTS).round().astype(int))
    return [points[i] for i in kept]


def _arrays(
    points: list[LoadPoint], plate: Plate, rig: Rig, *, is_ac: bool, rows: tuple[int, ...]
) -> Observed:
    def column(read: list[float | None]) -> Floats:
        return np.array([v if v is not None else np.nan for v in read], dtype=np.float64)

    speed = column([p.speed_rad_s for p in points])
    voltage = column([p.voltage_v or plate.voltage_v for p in points])
    current = column([p.current_a for p in points])
    torque = column([p.torque_nm for p in points])
    power = column([p.input_power_w for p in points]) if is_ac else voltage * current
    if is_ac and all(p.voltage_v is not None for p in points):
        voltage = motor_voltage(voltage, current, power, rig)
    u_power = [p.u_input_power_w for p in points] if is_ac else [None] * len(points)
    owns = ([p.u_current_a for p in points], [p.u_torque_nm for p in points], u_power)
    values = np.stack([current, torque, power])
    return Observed(
        state=State(speed, voltage, current),
        values=values,
        u=np.stack([pooled_u(u, points, v) for u, v in zip(owns, values, strict=True)]),
        u_speed=np.array([p.u_speed_rad_s or 0.0 for p in points]),
        has=np.array([c is not Channel.POWER or is_ac for c in OUTPUTS]),
        is_ac=is_ac,
        frequency_hz=plate.frequency_hz,
        rows=rows,
    )
