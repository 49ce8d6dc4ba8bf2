"""The highest power of a run-up: where it stands by law or by curve, and how surely."""

import math
from dataclasses import dataclass, replace

import numpy as np

from server.model.bench import Plate, Rig
from server.model.budget import PLACE, PLACE_BY_CURVE, PLACE_BY_LAW
from server.model.measured import Metric
from server.model.results import LoadPoint
from server.model.words import Channel, MetricName
from server.reduction.arrays import Floats
from server.reduction.first_order import Part, figure, reading_parts, scatter
from server.reduction.loadline import LoadLine
from server.reduction.motors.describe import law_of_points
from server.reduction.motors.place import Place
from server.reduction.peak_figures import curve_peak, own_u, place_by_law, reach_of_orders
from server.reduction.torque import drag_torque
from server.reduction.uncertainty.components import Component, RigErrors, rig_errors

M = MetricName
NEAR = 0.5  # of the highest power: the law is fitted from there up
READ = ("shaft_power_w", "speed_rad_s", "current_a", "input_power_w")


@dataclass(frozen=True, slots=True)
class Top:
    """Where the power is highest: its place along the line, its speed, what makes that unsure."""

    x: float
    speed_rad_s: float
    is_bracketed: bool
    parts: tuple[Part, ...]


def find_top(
    line: LoadLine,
    points: tuple[LoadPoint, ...],
    *,
    plate: Plate,
    rig: Rig,
    ambient_k: float | None = None,
) -> Top:
    """Find where a run-up's power is highest.

    Parameters
    ----------
    line : through the points. plate : its family names the law; volts, amperes and, on alternating
        current, watts must have been logged for it.

    Returns
    -------
    Top by the motor's law, where it fits the points of half the highest power or more as well as
    the curve does; else by the curve, with how far those of the next orders put it elsewhere.
    """
    errors = rig_errors(rig, ambient_k)
    near = _near_the_top(points)
    law = law_of_points(near, plate=plate, rig=rig, ambient_k=ambient_k)
    place = place_by_law(law, line, near)
    top = _by_curve(line, points, errors)
    return top if place is None else _by_law(top, line, place, near, errors, rig)


def _near_the_top(points: tuple[LoadPoint, ...]) -> tuple[LoadPoint, ...]:
    """Where a steady law may hold: switching on, and the last creep, are left out."""
    top = max(p.shaft_power_w for p in points)
    return tuple(p for p in points if p.shaft_power_w >= NEAR * top)


def _by_curve(line: LoadLine, points: tuple[LoadPoint, ...], errors: RigErrors) -> Top:
    peak = curve_peak(line)
    speed = float(line.speed.at(peak.x))
    slope = abs(float(line.speed.slope_at(peak.x)))
    u_x = min(own_u(line, peak), (line.x_high - line.x_low) / 4)
    spare = max(float(line.power.n_points - line.power.order - 1), 1.0)
    by_curve = Component.within(PLACE_BY_CURVE, reach_of_orders(line, points))
    own = scatter(slope * u_x, spare, f"{PLACE}: scatter")
    of_speed = reading_parts(errors, Channel.SPEED, speed)
    return Top(peak.x, speed, peak.is_bracketed, ((own, 1.0), (by_curve, 1.0), *of_speed))


def _by_law(
    top: Top,
    line: LoadLine,
    place: Place,
    points: tuple[LoadPoint, ...],
    errors: RigErrors,
    rig: Rig,
) -> Top:
    x = line.place_of_speed(place.speed_rad_s, top.x)
    if x is None:
        return top
    parts = _parts_by_law(place, points, errors, rig)
    return replace(top, x=x, speed_rad_s=place.speed_rad_s, parts=parts)


def _parts_by_law(
    place: Place, points: tuple[LoadPoint, ...], errors: RigErrors, rig: Rig
) -> tuple[Part, ...]:
    """The place answers to every reading of the points, and to what all of them share."""

    def column(read: list[float | None]) -> Floats:
        return np.array([v or 0.0 for v in read])

    power, speed = (column([getattr(p, name) for p in points]) for name in READ[:2])
    current, given = (column([getattr(p, name) for p in points]) for name in READ[2:])
    drag = drag_torque(speed, rig) * speed
    own = (
        place.by_power * column([p.u_shaft_power_w for p in points]),
        place.by_speed * column([p.u_speed_rad_s for p in points]),
    )
    u_own = math.hypot(*(float(np.linalg.norm(part)) for part in own), place.u_voltage)
    by_power = float(place.by_power @ (power - drag))
    parts: list[Part] = [
        (scatter(u_own, float(len(points)), f"{PLACE}: scatter"), 1.0),
        (Component(PLACE_BY_LAW, place.u_law), 1.0),
    ]
    volts, offset = place.by_voltage
    of_channel = {
        Channel.SPEED: (2 * by_power + float(place.by_speed @ speed), float(place.by_speed.sum())),
        Channel.CURRENT: (float(place.by_current @ current), float(place.by_current.sum())),
        Channel.POWER: (float(place.by_input @ given), float(place.by_input.sum())),
        Channel.VOLTAGE: (volts, offset),
    }
    for channel, (by_gain, by_offset) in of_channel.items():
        parts += [(component, by_gain) for component in errors.of(channel).gain]
        parts += [(component, by_offset) for component in errors.of(channel).offset]
    if errors.inertia is not None:
        parts.append((errors.inertia, by_power))
    if errors.drag is not None:
        parts.append((errors.drag, float(place.by_power @ drag)))
    return tuple(parts)


def highest_figures(
    top: Top, line: LoadLine, *, blur_nm: float, rig: Rig, errors: RigErrors
) -> dict[MetricName, Metric]:
    """The highest power, its speed and its torque.

    Parameters
    ----------
    top : from `find_top`. line : of the points' power. blur_nm : standard uncertainty of the torque
        because a slope over a window is blunt.
    """
    speed, power = top.speed_rad_s, float(line.power.at(top.x))
    drag = float(drag_torque(np.array([speed]), rig)[0])
    of_inertia = power - drag * speed
    freedom = max(float(line.power.n_points - line.power.order - 1), 1.0)
    parts: list[Part] = [(scatter(float(line.power.u_at(top.x)[0]), freedom), 1.0)]
    parts += [(c, 2 * of_inertia) for c in errors.of(Channel.SPEED).gain]
    if errors.inertia is not None:
        parts.append((errors.inertia, of_inertia))
    if errors.drag is not None:
        parts.append((errors.drag, drag * speed))
    if blur_nm:
        parts.append((Component("bandwidth of the slope", blur_nm), speed))
    # At the top a step along the load changes no power: torque is power over the speed found.
    by_place = -power / speed**2
    torque_parts = [(c, by / speed) for c, by in parts]
    torque_parts += [(c, by * by_place) for c, by in top.parts]
    return {
        M.SHAFT_POWER_MAX_MOMENTARY: figure(
            M.SHAFT_POWER_MAX_MOMENTARY, power, parts, lower_bound=not top.is_bracketed
        ),
        M.SPEED_AT_MAX_MOMENTARY_POWER: figure(M.SPEED_AT_MAX_MOMENTARY_POWER, speed, top.parts),
        M.TORQUE_AT_MAX_MOMENTARY_POWER: figure(
            M.TORQUE_AT_MAX_MOMENTARY_POWER, power / speed, torque_parts
        ),
    }
