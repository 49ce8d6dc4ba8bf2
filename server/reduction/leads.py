"""From where voltage and power are measured to the motor's terminals: the leads between."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

import numpy as np

from server.model.bench import Rig
from server.model.measured import Finding, JsonValue
from server.model.words import Channel, FindingCode, Severity
from server.reduction.arrays import Bools, FloatArray, Floats
from server.reduction.blocks import Blocks


@dataclass(frozen=True, slots=True)
class AtTerminals:
    """Volts, amperes (root mean square) and real power of one load; None: not measured."""

    voltage: float | None
    current: float | None
    power: float | None


def without_leads(blocks: Blocks, rig: Rig, *, is_dc: bool) -> Blocks:
    """The same blocks as the motor's terminals see them.

    Model:  P = P_m - I^2 R;  on direct current V = V_m - I R too

    Parameters
    ----------
    blocks : as measured; current as root mean square over each block.
    rig : `lead_resistance_ohm`, there and back; without it, or without current, nothing changes.
    is_dc : on alternating current the voltage stays the meter's: how much of it the leads take
        depends on the phase.

    Notes
    -----
    I^2 R is exact for any wave. A block without current has no power then either.
    """
    ohm, current = rig.lead_resistance_ohm, blocks.current
    if not ohm or current is None:
        return blocks
    power, voltage = blocks.power, blocks.voltage
    if power is not None:
        power = power - ohm * current**2
    if is_dc and voltage is not None:
        voltage = voltage - ohm * current
    return replace(blocks, power=power, voltage=voltage)


def at_terminals(
    rig: Rig, *, voltage: float | None, current: float | None, power: float | None, is_dc: bool
) -> AtTerminals:
    """Means of one load, likewise. Power made from volts and amperes is to be the meter's."""
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
