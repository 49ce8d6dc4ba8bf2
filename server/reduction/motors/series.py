"""Series wound motors, on alternating ("universal") and on direct current."""

from collections.abc import Mapping

import numpy as np

from server.model.motor import LossKind
from server.model.words import MotorFamily
from server.reduction.arrays import Floats
from server.reduction.motors.law import Constant, Law, Losses, Observed, Predict, State, columns

CARBON_BRUSHES_V = 2.0  # both brushes; IEC 60034-2-1 takes 2.0 V (cited from memory)
U_CARBON_BRUSHES_V = 0.5
IRON_EXPONENT = 1.5  # of speed: between hysteresis (1) and eddy currents (2)
STEPS = 8


def series_law(observed: Observed, *, saturates: bool = True, has_iron: bool = False) -> Law:
    """The law of a series motor.

    Model:  V^2 = (k(I) w + R I + V_b)^2 + (X I)^2,  k(I) = k_s I / sqrt(I^2 + I_s^2)
            T = k(I) I - T_f - c w^2 - P_i (k / k_s)^2 (w / w_r)^1.5 / w
            P = (k(I) w + R I + V_b) I
    w_r is the highest speed of the run; X = 0 on direct current; without saturation k(I) = g I.

    Parameters
    ----------
    observed : the load points, for starting values and the scale of each constant.

    Returns
    -------
    Law with resistance R, brush_drop V_b, field_constant (k_s, or g), [saturation_current I_s],
    friction_torque T_f, windage c, [reactance X], [iron_loss P_i at w_r and full flux].

    Notes
    -----
    Torque is the mean over a mains period, which needs rms current only as long as the iron does
    not saturate within it; k(I) is that of the rms current. What iron loss the line pays for by
    its current, and not the shaft, is counted as if the shaft paid.

    Sources
    -------
    Checked against textbook series motors on direct and alternating current
    (tests/outside/test_motor_models.py).
    """
    speed_ref = float(observed.state.speed.max())
    constants = _constants(observed, saturates=saturates, has_iron=has_iron, speed_ref=speed_ref)
    name = "series, saturating" if saturates else "series, without saturation"
    predict, losses = _equations([c.name for c in constants], speed_ref)
    return Law(
        name=name + (", iron loss apart" if has_iron else ""),
        family=MotorFamily.SERIES,
        constants=constants,
        predict=predict,
        losses=losses,
        resistances=(0,),
        told_apart=has_iron,
    )


def _equations(names: list[str], speed_ref: float) -> tuple[Predict, Losses]:
    def predict(theta: Floats, state: State) -> Floats:
        c = dict(zip(names, columns(theta), strict=True))
        current = series_current(c, state)
        k, _ = flux(c, current)
        along = k * state.speed + c["resistance"] * current + c["brush_drop"]
        lost = sum(_turning(c, k, state.speed, speed_ref).values())
        torque = k * current - lost / state.speed
        return np.stack([current, torque, along * current], axis=1)

    def losses(theta: Floats, state: State) -> Mapping[LossKind, Floats]:
        c = dict(zip(names, columns(theta), strict=True))
        current = series_current(c, state)
        k, _ = flux(c, current)
        return {
            LossKind.COPPER: c["resistance"] * current**2,
            LossKind.BRUSH: c["brush_drop"] * current,
            **_turning(c, k, state.speed, speed_ref),
        }

    return predict, losses


def flux(c: Mapping[str, Floats], current: Floats) -> tuple[Floats, Floats]:
    """k(I) in V s, and its slope dk/dI."""
    if "saturation_current" not in c:
        slope = c["field_constant"] + 0.0 * current
        return slope * current, slope
    knee = c["saturation_current"]
    root = np.hypot(current, knee)
    return c["field_constant"] * current / root, c["field_constant"] * knee**2 / root**3


def series_current(c: Mapping[str, Floats], state: State) -> Floats:
    """The current at each speed and voltage, by Newton's steps on V^2 from a near one."""
    x = c.get("reactance", 0.0 * c["resistance"])
    current = state.current_near + 0.0 * x
    for _ in range(STEPS):
        k, slope = flux(c, current)
        along = k * state.speed + c["resistance"] * current + c["brush_drop"]
        excess = along**2 + (x * current) ** 2 - state.voltage**2
        rise = 2 * along * (slope * state.speed + c["resistance"]) + 2 * x**2 * current
        step = np.clip(current - excess / rise, 0.4 * current, 2.5 * current)
        is_there = bool(np.all(np.abs(step - current) <= 1e-11 * step))
        current = step
        if is_there:
            break
    return np.asarray(current)


def _turning(
    c: Mapping[str, Floats], k: Floats, speed: Floats, speed_ref: float
) -> dict[LossKind, Floats]:
    parts = {LossKind.ROTATION: (c["friction_torque"] + c["windage"] * speed**2) * speed}
    if "iron_loss" in c:
        part = (k / c["field_constant"]) ** 2 * (speed / speed_ref) ** IRON_EXPONENT
        parts[LossKind.IRON] = c["iron_loss"] * part
    return parts


def _constants(
    observed: Observed, *, saturates: bool, has_iron: bool, speed_ref: float
) -> tuple[Constant, ...]:
    """Starting values from the heaviest load and from EMF over speed."""
    current, torque, power = observed.values
    speed, voltage = observed.state.speed, observed.state.voltage
    heavy = int(np.argmax(current))
    ohms = voltage[heavy] / current[heavy]
    active = power if observed.has[2] or not observed.is_ac else 0.93 * voltage * current
    emf = np.maximum(active / current - 0.1 * ohms * current - CARBON_BRUSHES_V, 0.2 * voltage)
    knee = float(np.median(current))
    base = float(np.median(emf / speed / current))
    full = float(np.median(emf / speed * np.hypot(current, knee) / current))
    loss = float(np.median(np.abs(torque)))
    found = [
        Constant("resistance", "ohm", 0.1 * float(ohms), least=1e-3 * float(ohms)),
        Constant("brush_drop", "V", CARBON_BRUSHES_V, usual=(CARBON_BRUSHES_V, U_CARBON_BRUSHES_V)),
        Constant("field_constant", "V s" if saturates else "V s/A", full if saturates else base),
    ]
    if saturates:
        found.append(Constant("saturation_current", "A", knee, least=0.02 * knee))
    found.append(Constant("friction_torque", "N m", 0.03 * loss))
    found.append(Constant("windage", "N m s2", 0.03 * loss / speed_ref**2))
    if observed.is_ac:
        across = np.sqrt(max(1 - float(active[heavy] / (voltage[heavy] * current[heavy])) ** 2, 0))
        found.append(Constant("reactance", "ohm", max(float(across), 0.05) * float(ohms)))
    if has_iron:
        found.append(Constant("iron_loss", "W", 0.04 * float(np.max(torque * speed))))
    return tuple(found)
