"""Induction motors: split phase, with a capacitor, shaded pole."""

from collections.abc import Mapping
from typing import Any, TypeAlias

import numpy as np
from numpy.typing import NDArray

from server.model.motor import LossKind
from server.model.words import MotorFamily
from server.reduction.arrays import Floats
from server.reduction.motors.law import Constant, Law, Losses, Observed, Predict, State, columns

Phasors: TypeAlias = NDArray[np.complexfloating[Any, Any]]
LEAST_SLIP = 1e-6
MAX_POLES = 24


def induction_law(observed: Observed, *, two_fields: bool, sync_rad_s: float) -> Law:
    """The law of an induction motor: the equivalent circuit as its terminals see it.

    Model:  Z = R1 + jX + Z_f (+ Z_b),   s = 1 - w / w_s
            Z_f = h (jX_m in parallel with R2 / s + jX),  Z_b the same with 2 - s for s
            T = |I_1|^2 (Re Z_f - Re Z_b) / w_s - T_f
            core conductance G across the terminals; I = I_1 + V G;  P = Re(V I*)
    h = 1 with one revolving field (a capacitor that balances the windings), 1/2 with two (one
    winding on: split phase, shaded pole). With one field the torque is Kloss's formula.

    Parameters
    ----------
    observed : the load points. sync_rad_s : synchronous speed, above every speed of the run.

    Returns
    -------
    Law with stator_resistance R1, rotor_resistance R2, leakage X, magnetising X_m,
    core_conductance G, friction_torque T_f.

    Notes
    -----
    Stator and rotor leakage can't be told apart from the terminals: both are X. The speed hardly
    changes over a run, so windage is one with friction. A shaded pole's ring is taken as part of
    the core loss.

    Sources
    -------
    Double revolving field: the usual textbook circuit. Checked against a textbook motor's
    pull-out point (tests/outside/test_motor_models.py).
    """
    constants = _constants(observed)
    fields = "two revolving fields" if two_fields else "one revolving field"
    predict, losses = _equations(sync_rad_s, two_fields=two_fields)
    return Law(
        name=f"induction, {fields}",
        family=MotorFamily.INDUCTION,
        constants=constants,
        predict=predict,
        losses=losses,
        resistances=(0, 1),
        told_apart=True,
        below_rad_s=sync_rad_s,
    )


def _equations(sync_rad_s: float, *, two_fields: bool) -> tuple[Predict, Losses]:
    half = 0.5 if two_fields else 1.0

    def solve(theta: Floats, state: State) -> tuple[Floats, ...]:
        r1, r2, x, xm, core, friction = columns(theta)
        slip = np.maximum(1 - state.speed / sync_rad_s, LEAST_SLIP)
        forward = half * _beside(1j * xm, r2 / slip + 1j * x)
        back = half * _beside(1j * xm, r2 / (2 - slip) + 1j * x) if two_fields else 0 * forward
        inside = state.voltage / (r1 + 1j * x + forward + back)
        square = np.abs(inside) ** 2
        gap_f, gap_b = square * forward.real, square * back.real
        core_w = state.voltage**2 * core
        torque = (gap_f - gap_b) / sync_rad_s - friction
        power = square * r1 + gap_f + gap_b + core_w
        return np.abs(inside + state.voltage * core), torque, power, core_w, friction

    def predict(theta: Floats, state: State) -> Floats:
        return np.stack(solve(theta, state)[:3], axis=1)

    def losses(theta: Floats, state: State) -> Mapping[LossKind, Floats]:
        _, torque, power, core_w, friction = solve(theta, state)
        turning = friction * state.speed
        # Both windings', the backward field's included.
        rest = power - torque * state.speed - core_w - turning
        return {LossKind.COPPER: rest, LossKind.IRON: core_w, LossKind.ROTATION: turning}

    return predict, losses


def synchronous_speed(frequency_hz: float, fastest_rad_s: float) -> float | None:
    """The lowest synchronous speed (rad/s) above the fastest speed seen; None if there is none.

    Model:  w_s = 4 pi f / n_poles, n_poles even
    """
    found = [
        4 * np.pi * frequency_hz / poles
        for poles in range(2, MAX_POLES + 1, 2)
        if 4 * np.pi * frequency_hz / poles > fastest_rad_s
    ]
    return float(found[-1]) if found else None


def pull_out_point(law: Law, theta: Floats, *, voltage_v: float, sync_rad_s: float) -> Floats:
    """Pull-out torque at the shaft (N m) and its slip, for each row of theta: (m, 2).

    From torque over 400 slips, with a parabola through the highest three.
    """
    slip = np.linspace(0.002, 1.0, 400)
    speed = sync_rad_s * (1 - slip)
    state = State(speed, np.full_like(slip, voltage_v), np.ones_like(slip))
    torque = law.predict(theta, state)[:, 1]
    best = np.clip(np.argmax(torque, axis=1), 1, slip.size - 2)
    rows = np.arange(theta.shape[0])
    before, at, after = (torque[rows, best + k] for k in (-1, 0, 1))
    bend = before - 2 * at + after
    shift = np.where(bend < 0, 0.5 * (before - after) / np.where(bend < 0, bend, -1.0), 0.0)
    shift = np.clip(shift, -1, 1)
    top = at - 0.25 * (before - after) * shift
    return np.stack([top, slip[best] + shift * (slip[1] - slip[0])], axis=1)


def _beside(a: Phasors, b: Phasors) -> Phasors:
    return np.asarray(a * b / (a + b))


def _constants(observed: Observed) -> tuple[Constant, ...]:
    """Starting values as usual parts of volts over amperes at the heaviest load."""
    heavy = int(np.argmax(observed.values[1]))
    volts = float(observed.state.voltage[heavy])
    base = volts / float(observed.values[0, heavy])
    torque = float(np.max(np.abs(observed.values[1])))
    return (
        Constant("stator_resistance", "ohm", 0.15 * base, least=1e-3 * base),
        Constant("rotor_resistance", "ohm", 0.18 * base, least=1e-3 * base),
        Constant("leakage_reactance", "ohm", 0.18 * base, least=1e-3 * base),
        Constant("magnetising_reactance", "ohm", 4.0 * base, least=0.05 * base),
        Constant("core_conductance", "S", 1 / (60.0 * base)),
        Constant("friction_torque", "N m", 0.02 * torque),
    )
