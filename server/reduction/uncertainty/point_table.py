"""The load points of a run as columns, and what errors do to each quantity."""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from server.model.bench import Rig
from server.model.results import LoadPoint
from server.model.words import Channel
from server.reduction.arrays import Bools, Floats
from server.reduction.loadline import known_loads
from server.reduction.torque import drag_torque
from server.reduction.uncertainty.components import rig_errors
from server.reduction.uncertainty.run_errors import Factors

POWER, SPEED, CURRENT, INPUT, FACTOR = "power", "speed", "current", "input", "power factor"
QUANTITIES = (POWER, SPEED, CURRENT, INPUT, FACTOR)
Read = Callable[[LoadPoint], float | None]
# Quantities that a load may lack.
READINGS: dict[str, Read] = {
    CURRENT: lambda p: p.current_a,
    INPUT: lambda p: p.input_power_w,
    FACTOR: lambda p: p.power_factor,
}
# A term: what it is multiplied by per draw, and its value at each point.
Term = tuple[Floats, Floats]


@dataclass(frozen=True, slots=True)
class PointTable:
    """(N,) per load point, SI. Shaft power is brake + drag + inertia parts; None: not measured.

    `known`: which loads have a quantity's reading, where some lack it; what stands for it there is
    drawn straight between its neighbours, for the shape of the table, and no curve goes by it.
    `u` is scatter of each quantity, the rounding of a reading included where it does not already
    show in the scatter. `lead_loss` (W) is what input power no longer holds, None where nothing
    was taken off; `is_drop_taken`: voltage is the motor's too.
    """

    torque: Floats
    speed: Floats
    brake_power: Floats
    drag_power: Floats
    inertia_power: Floats
    voltage: Floats | None
    current: Floats | None
    input_power: Floats | None
    power_factor: Floats | None
    is_input_metered: bool
    is_apparent_metered: bool
    u: dict[str, Floats]
    n_effective: Floats
    lead_loss: Floats | None = None
    is_drop_taken: bool = False
    known: dict[str, Bools] = field(default_factory=dict)

    def has(self, quantity: str) -> Bools:
        return self.known.get(quantity, np.ones(self.speed.size, dtype=np.bool_))

    @property
    def power(self) -> Floats:
        return self.brake_power + self.drag_power + self.inertia_power

    def values(self, quantity: str) -> Floats | None:
        columns = {
            POWER: self.power,
            SPEED: self.speed,
            CURRENT: self.current,
            INPUT: self.input_power,
            FACTOR: self.power_factor,
        }
        return columns[quantity]

    def terms(self, quantity: str, f: Factors) -> list[Term]:
        """A quantity as a sum of products: error factors (n,) times columns (N,).

        Model:  P = s_w (s_T B + s_d D + o_T w) + s_w^2 s_J K + o_w T;  w = s_w w + o_w;
                I = s_I I + o_I;  P_in = s_P P_m + o_P - s_R s_I^2 L - 2 o_I L / I, P_m also as the
                product of voltage, current and power factor;  PF = P_in / (V I), offsets to first
                order

        with B, D, K the brake's, drag's and inertia's part of the power, s = 1 + gain, L = I^2 R
        the leads' heat and P_m = P_in + L what the meter shows.
        """
        one = np.ones_like(self.speed)
        s, o = f.gains, f.offsets
        if quantity == POWER:
            s_w = s[Channel.SPEED]
            return [
                (s_w * f.torque, self.brake_power),
                (s_w * f.drag, self.drag_power),
                (s_w * f.torque_offset, self.speed),
                (s_w * s_w * f.inertia, self.inertia_power),
                (o[Channel.SPEED], self.torque),
            ]
        if quantity == SPEED:
            return [(s[Channel.SPEED], self.speed), (o[Channel.SPEED], one)]
        if quantity == CURRENT:
            return [(s[Channel.CURRENT], _known(self.current)), (o[Channel.CURRENT], one)]
        if quantity == INPUT:
            return self._input_terms(f, one)
        return self._factor_terms(f, one)

    def _input_terms(self, f: Factors, one: Floats) -> list[Term]:
        power, s, o = _known(self.input_power), f.gains, f.offsets
        leads = self._lead_terms(f, one)
        if self.lead_loss is not None:
            power = power + self.lead_loss
        if self.is_input_metered:
            return [(s[Channel.POWER], power), (o[Channel.POWER], one), *leads]
        volts, amperes = _known(self.voltage), _known(self.current)
        if self.lead_loss is not None and self.is_drop_taken:
            volts = volts + self.lead_loss / amperes
        product = s[Channel.VOLTAGE] * s[Channel.CURRENT] * s[Channel.POWER_FACTOR]
        return [
            *leads,
            (product, power),
            (o[Channel.VOLTAGE], power / volts),
            (o[Channel.CURRENT], power / amperes),
            (o[Channel.POWER_FACTOR], volts * amperes),
        ]

    def _lead_terms(self, f: Factors, over: Floats) -> list[Term]:
        """The leads' heat, taken off: over `over` (N,), which is 1 for the power itself."""
        if self.lead_loss is None:
            return []
        s, o, lost = f.gains[Channel.CURRENT], f.offsets[Channel.CURRENT], self.lead_loss / over
        return [(-f.leads * s * s, lost), (-2 * o, lost / _known(self.current))]

    def _factor_terms(self, f: Factors, one: Floats) -> list[Term]:
        factor, s, o = _known(self.power_factor), f.gains, f.offsets
        apparent = _known(self.input_power) / factor
        # Volts and amperes at the motor on direct current: their factor is 1, leads or not.
        has_leads = self.lead_loss is not None and not self.is_drop_taken
        lost = _known(self.lead_loss) / apparent if has_leads else np.zeros_like(one)
        product = s[Channel.VOLTAGE] * s[Channel.CURRENT]
        if not self.is_input_metered:
            found = [
                (s[Channel.POWER_FACTOR], factor + lost),
                (o[Channel.POWER_FACTOR], one),
            ]
            if has_leads:
                found += [
                    (-f.leads * s[Channel.CURRENT] / s[Channel.VOLTAGE], lost),
                    (o[Channel.VOLTAGE], lost / _known(self.voltage)),
                    (-o[Channel.CURRENT], lost / _known(self.current)),
                ]
            return found
        if self.is_apparent_metered:
            leads = self._lead_terms(f, apparent) if has_leads else []
            return [(s[Channel.POWER], factor + lost), (o[Channel.POWER], one / apparent), *leads]
        found = [
            (s[Channel.POWER] / product, factor + lost),
            (o[Channel.POWER], one / apparent),
            (-o[Channel.VOLTAGE], factor / _known(self.voltage)),
            (-o[Channel.CURRENT], (factor + 2 * lost) / _known(self.current)),
        ]
        if has_leads:
            found.append((-f.leads * s[Channel.CURRENT] / s[Channel.VOLTAGE], lost))
        return found

    def at(self, which: int | list[int]) -> "PointTable":
        """The same table of some points only."""
        rows = np.atleast_1d(np.asarray(which, dtype=np.int64))

        def kept(column: Floats | None) -> Floats | None:
            return None if column is None else column[rows]

        return PointTable(
            torque=self.torque[rows],
            speed=self.speed[rows],
            brake_power=self.brake_power[rows],
            drag_power=self.drag_power[rows],
            inertia_power=self.inertia_power[rows],
            voltage=kept(self.voltage),
            current=kept(self.current),
            input_power=kept(self.input_power),
            power_factor=kept(self.power_factor),
            is_input_metered=self.is_input_metered,
            is_apparent_metered=self.is_apparent_metered,
            u={name: column[rows] for name, column in self.u.items()},
            n_effective=self.n_effective[rows],
            lead_loss=kept(self.lead_loss),
            is_drop_taken=self.is_drop_taken,
            known={name: column[rows] for name, column in self.known.items()},
        )

    def drawn(self, quantity: str, f: Factors) -> Floats:
        """(N, n): the quantity at every point, for every draw."""
        weights, columns = zip(*self.terms(quantity, f), strict=True)
        return np.asarray(np.stack(columns, axis=1) @ np.stack(weights))


def point_table(
    points: Sequence[LoadPoint],
    brake_power_w: Sequence[float],
    rig: Rig,
    *,
    torque_channel: Channel,
    is_input_metered: bool,
    is_dc: bool = False,
) -> PointTable:
    """Columns of the load points. A quantity is one of the run where a curve goes through it."""
    if not points:
        raise ValueError("a table needs points")
    speed = np.array([p.speed_rad_s for p in points])
    power = np.array([p.shaft_power_w for p in points])
    brake = np.array(list(brake_power_w))
    drag = drag_torque(speed, rig) * speed
    n_effective = np.array([max(p.n_effective, 1.0) for p in points])
    current = _column(points, READINGS[CURRENT])
    voltage = _column(points, lambda p: p.voltage_v)
    torque = np.array([p.torque_nm for p in points])
    rounding = _roundings(rig, torque_channel)
    ohm = rig.lead_resistance_ohm

    def scatter(own: list[float | None], resolution: Floats | float) -> Floats:
        u = np.array([v or 0.0 for v in own])
        sample = u * np.sqrt(n_effective)
        # Scatter of half a step or more carries the rounding in it.
        return np.asarray(np.where(sample >= resolution * math.sqrt(3), u, np.hypot(u, resolution)))

    u = {
        POWER: scatter([p.u_shaft_power_w for p in points], rounding[torque_channel] * speed),
        SPEED: scatter([p.u_speed_rad_s for p in points], rounding[Channel.SPEED]),
        CURRENT: scatter([p.u_current_a for p in points], rounding[Channel.CURRENT]),
        INPUT: scatter([p.u_input_power_w for p in points], rounding[Channel.POWER]),
        FACTOR: np.zeros(len(points)),
    }
    return PointTable(
        torque=torque,
        speed=speed,
        brake_power=brake,
        drag_power=drag,
        inertia_power=power - brake - drag,
        voltage=voltage,
        current=current,
        input_power=_column(points, READINGS[INPUT]),
        power_factor=_column(points, READINGS[FACTOR]),
        is_input_metered=is_input_metered,
        is_apparent_metered=voltage is None or current is None,
        u=u,
        n_effective=n_effective,
        lead_loss=None if current is None or not ohm else ohm * current**2,
        is_drop_taken=is_dc,
        known={
            quantity: known
            for quantity, read in READINGS.items()
            if (known := known_loads(points, read)) is not None and not known.all()
        },
    )


def _roundings(rig: Rig, torque_channel: Channel) -> dict[Channel, float]:
    """Standard uncertainty of one reading's rounding, by channel; a force's as torque."""
    stated = rig_errors(rig)
    found = {}
    for channel in (torque_channel, Channel.SPEED, Channel.CURRENT, Channel.POWER):
        rounding = stated.of(channel).resolution
        found[channel] = rounding.standard_uncertainty if rounding is not None else 0.0
    if torque_channel is Channel.FORCE:
        found[torque_channel] *= rig.effective_arm_m or 1.0
    return found


def _column(points: Sequence[LoadPoint], read: Read) -> Floats | None:
    known = known_loads(points, read)
    if known is None:
        return None
    speed = np.array([p.speed_rad_s for p in points])
    values = np.array([read(p) or 0.0 for p in points], dtype=np.float64)
    order = np.flatnonzero(known)[np.argsort(speed[known])]
    between = np.interp(speed, speed[order], values[order])
    return np.asarray(np.where(known, values, between))


def _known(values: Floats | None) -> Floats:
    if values is None:
        raise ValueError("a quantity without readings has no terms")
    return values
