"""From where voltage and power are measured to the motor's terminals: the leads between."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Generic, TypeVar

import numpy as np

from server.model.bench import Rig
from server.model.measured import Finding, JsonValue
from server.model.words import Channel, FindingCode, Severity
from server.reduction.arrays import Bools, FloatArray, Floats
from server.reduction.blocks import Blocks

Value = TypeVar("Value", float, Floats)


@dataclass(frozen=True, slots=True)
class AtTerminals(Generic[Value]):
    """Volts, amperes (root mean square) and real power; None: not measured."""

    voltage: Value | None
    current: Value | None
    power: Value | None


def without_leads(blocks: Blocks, rig: Rig, *, is_dc: bool) -> Blocks:
    """The same blocks (current as root mean square over each) as the motor's terminals see them.

    A block without current has no power then either. See `at_terminals`.
    """
    found = at_terminals(
        rig, voltage=blocks.voltage, current=blocks.current, power=blocks.power, is_dc=is_dc
    )
    return replace(blocks, power=found.power, voltage=found.voltage)


def at_terminals(
    rig: Rig, *, voltage: Value | None, current: Value | None, power: Value | None, is_dc: bool
) -> AtTerminals[Value]:
    """What is measured before the leads, as the motor's terminals see it.

    Model:  P = P_m - I^2 R;  on direct current V = V_m - I R too

    Parameters
    ----------
    rig : `lead_resistance_ohm`, there and back; without it, or without current, nothing changes.
    voltage, current, power : means of one load, or (n,) of several; power made from volts and
        amperes is to be the meter's.
    is_dc : on alternating current the voltage stays the meter's: how much of it the leads take
        depends on the phase.

    Notes
    -----
    I^2 R is exact for any wave.
    """
    ohm = rig.lead_resistance_ohm
    if not ohm or current is None:
        return AtTerminals(voltage, current, power)
    return AtTerminals(
        voltage=voltage - ohm * current if is_dc and voltage is not None else voltage,
        current=current,
        power=None if power is None else power - ohm * current**2,
    )


def motor_voltage(voltage_v: Floats, current_a: Floats, power_w: Floats, rig: Rig) -> Floats:
    """Voltage at the motor's terminals on alternating current, from the meter's.

    Model:  V^2 = V_m^2 - 2 R P - (I R)^2,  P the power at the motor

    Parameters
    ----------
    voltage_v, current_a : (n,) root mean square. power_w : (n,) real power at the motor.

    Notes
    -----
    The mean square of v - R i, exact for any wave; never under zero.
    """
    ohm = rig.lead_resistance_ohm
    if not ohm:
        return voltage_v
    square = voltage_v**2 - 2 * ohm * power_w - (ohm * current_a) ** 2
    return np.sqrt(np.maximum(square, 0.0))


def held_loss_w(blocks: Blocks, held: Bools, rig: Rig) -> float:
    """Heat of the leads while the rotor is held, W; zero where nothing is taken off."""
    ohm = rig.lead_resistance_ohm
    if not ohm or blocks.current is None:
        return 0.0
    square = blocks.current[held] ** 2
    square = square[np.isfinite(square)]
    return ohm * float(square.mean()) if square.size else 0.0


def lead_findings(channels: Mapping[Channel, FloatArray], rig: Rig) -> tuple[Finding, ...]:
    """Whether the stated leads were taken off, with what they took at the largest current."""
    ohm = rig.lead_resistance_ohm
    if not ohm:
        return ()
    current = channels.get(Channel.CURRENT)
    known = None if current is None else np.abs(current[np.isfinite(current)])
    evidence: dict[str, JsonValue] = {"lead_resistance_ohm": ohm, "is_applied": False}
    if known is not None and known.size:
        highest = float(known.max())
        evidence |= {"is_applied": True, "highest_current_a": highest}
        if not math.isfinite(highest * highest * ohm):
            evidence.pop("highest_current_a")
    return (Finding(FindingCode.LEADS, Severity.INFO, evidence),)
