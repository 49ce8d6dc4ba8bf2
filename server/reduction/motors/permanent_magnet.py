"""Permanent magnets: brushed on direct current, or brushless behind a stiff supply."""

from collections.abc import Mapping
from enum import StrEnum

import numpy as np

from server.model.motor import LossKind
from server.model.words import MotorFamily
from server.reduction.arrays import Floats
from server.reduction.motors.law import Constant, Law, Losses, Observed, Predict, State, columns

DROP_V = 1.0  # of brushes or switches: none to 2 V
U_DROP_V = 1.0 / np.sqrt(3.0)
MEAN_OF_RMS = 2 * np.sqrt(2) / np.pi  # of a rectified sine
RMS_OF_MEAN = np.pi / np.sqrt(8)


class Behind(StrEnum):
    """What stands between terminals and windings."""

    NOTHING = "on direct current"
    RECTIFIER = "behind a plain rectifier"
    STIFF_SUPPLY = "behind a stiff supply"


class Rising(StrEnum):
    """How the torque that turning costs rises."""

    NOT = "constant drag"
    WITH_SPEED = "drag rising with speed"
    WITH_SQUARE = "drag rising with the square of speed"


def magnet_law(observed: Observed, *, behind: Behind, rising: Rising = Rising.WITH_SPEED) -> Law:
    """The law of a permanent magnet motor.

    Model:  V = k w + R I_m + V_d,  T = k I_m - T_f - d w, or - c w^2 in place of d w
            on direct current:        I = I_m,  P = V I_m
            behind a plain rectifier: V for V 2 sqrt(2)/pi, I = I_m pi/sqrt(8),
                                      P = (k w + V_d) I_m + R I^2
            behind a stiff supply:    I = I_m / PF,  P = V I_m

    Parameters
    ----------
    observed : the load points, for starting values and the scale of each constant.
    behind : what stands before the windings; on alternating current one of the last two.
    rising : with speed (grease, eddy currents) or with its square (air); or neither d nor c.

    Returns
    -------
    Law with resistance R, drop V_d, field_constant k, friction_torque T_f, [drag d or
    windage c], [power_factor PF, behind a stiff supply].

    Notes
    -----
    Flux is constant, so iron loss is one with friction and windage. Behind a stiff supply (a
    rectifier with smoothing, then a drive) R, k and V_d are as seen from the line, which gives
    the same torque, power and losses whatever the ratio of the two voltages is, and one power
    factor serves all loads.

    Sources
    -------
    Checked against a 100 V, 100 A, 1425 r/min machine (tests/outside/test_motor_models.py).
    """
    constants = _constants(observed, behind, rising)
    predict, losses = _equations([c.name for c in constants], behind)
    return Law(
        name=f"permanent magnet {behind.value}, {rising.value}",
        family=MotorFamily.PERMANENT_MAGNET,
        constants=constants,
        predict=predict,
        losses=losses,
        resistances=(0,),
    )


def _equations(names: list[str], behind: Behind) -> tuple[Predict, Losses]:
    is_rectified = behind is Behind.RECTIFIER
    mean, form = (MEAN_OF_RMS, RMS_OF_MEAN) if is_rectified else (1.0, 1.0)

    def solve(theta: Floats, state: State) -> tuple[dict[str, Floats], Floats]:
        c = dict(zip(names, columns(theta), strict=True))
        emf = c["field_constant"] * state.speed
        return c, np.asarray((mean * state.voltage - c["drop"] - emf) / c["resistance"])

    def predict(theta: Floats, state: State) -> Floats:
        c, inside = solve(theta, state)
        torque = c["field_constant"] * inside - _lost_torque(c, state.speed)
        line = inside / c["power_factor"] if "power_factor" in c else form * inside
        emf = c["field_constant"] * state.speed
        power = (emf + c["drop"]) * inside + c["resistance"] * (form * inside) ** 2
        return np.stack([line, torque, power], axis=1)

    def losses(theta: Floats, state: State) -> Mapping[LossKind, Floats]:
        c, inside = solve(theta, state)
        return {
            LossKind.COPPER: c["resistance"] * (form * inside) ** 2,
            LossKind.BRUSH: c["drop"] * inside,
            LossKind.ROTATION: _lost_torque(c, state.speed) * state.speed,
        }

    return predict, losses


def _lost_torque(c: Mapping[str, Floats], speed: Floats) -> Floats:
    lost = c["friction_torque"] + 0.0 * speed
    if "drag" in c:
        lost = lost + c["drag"] * speed
    if "windage" in c:
        lost = lost + c["windage"] * speed**2
    return np.asarray(lost)


def _constants(observed: Observed, behind: Behind, rising: Rising) -> tuple[Constant, ...]:
    """Starting values from the straight line of speed over current."""
    current, torque, power = observed.values
    speed, voltage = observed.state.speed, observed.state.voltage
    if behind is Behind.RECTIFIER:
        voltage, active = voltage * MEAN_OF_RMS, current / RMS_OF_MEAN
    else:
        active = power / voltage
    heavy, light = int(np.argmax(active)), int(np.argmin(active))
    ohms = float(voltage[heavy] / active[heavy])
    swing, ratio = active - active.mean(), speed / voltage
    fall = -float(swing @ ratio) / max(float(swing @ swing), 1e-300)
    free = float(ratio.mean()) + fall * float(active.mean())
    k = 1 / free if free > 0 else float(voltage[light] / speed[light])
    resistance = fall * k * float(np.median(voltage))
    loss = max(float(np.median(k * active - torque)), 0.01 * float(np.max(np.abs(torque))))
    found = [
        Constant("resistance", "ohm", max(resistance, 0.02 * ohms), least=1e-3 * ohms),
        Constant("drop", "V", DROP_V, usual=(DROP_V, U_DROP_V)),
        Constant("field_constant", "V s", k),
        Constant("friction_torque", "N m", loss if rising is Rising.NOT else 0.5 * loss),
    ]
    top = float(speed.max())
    if rising is Rising.WITH_SPEED:
        found.append(Constant("drag", "N m s", 0.5 * loss / top))
    elif rising is Rising.WITH_SQUARE:
        found.append(Constant("windage", "N m s2", 0.5 * loss / top**2))
    if behind is Behind.STIFF_SUPPLY:
        found.append(Constant("power_factor", "", float(np.median(active / current))))
    return tuple(found)
