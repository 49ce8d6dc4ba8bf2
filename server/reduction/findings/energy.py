"""Efficiency, power factor and slips of unit, from the energy balance."""

import numpy as np

from server.model.bench import Plate
from server.model.measured import Finding, JsonValue
from server.model.results import LoadPoint
from server.model.words import FindingCode, MotorFamily, Severity, Supply
from server.reduction.findings.balance import Balance, energy_balance, input_series
from server.reduction.findings.slips import (
    ELECTRICAL,
    MECHANICAL,
    SOUND_HIGH,
    SOUND_LOW,
    candidates,
)
from server.reduction.worked import Worked

SLOPE_TOO_HIGH, SLOPE_TOO_LOW = 2.5, 0.2
BRAKE_TOO_HIGH, BRAKE_TOO_LOW = 3.5, 0.16
FACTOR_TOO_HIGH, FACTOR_TOO_LOW = 2.0, 0.15
IN_U = 3.0
BEST_EFFICIENCY = {
    MotorFamily.SERIES: 0.85,
    MotorFamily.PERMANENT_MAGNET: 0.96,
    MotorFamily.INDUCTION: 0.94,
    MotorFamily.UNKNOWN: 0.96,
}
WORST_BEST_EFFICIENCY = 0.05
PLATE_VOLTAGE_SLIP = 4.0
LOADED_SHARE = 0.1


def energy_findings(worked: Worked, *, plate: Plate) -> list[Finding]:
    """Efficiency impossible or improbable, power factor over one, likely slips of unit."""
    points = list(worked.points)
    if not points:
        return []
    electrical = _electrical(points, plate)
    found = [*electrical]
    slipped = any(f.code is FindingCode.UNIT_SLIP for f in electrical)
    mechanical = _slip(worked, plate)
    if mechanical is not None and not slipped:
        found.append(mechanical)
    elif mechanical is not None:
        found.append(_as_evidence_only(mechanical))
    return found + _efficiency(worked, plate)


def _efficiency(worked: Worked, plate: Plate) -> list[Finding]:
    best = _best_efficiency(worked)
    if best is None:
        return []
    value, u, evidence = best
    if value - IN_U * u > 1.0:
        return [Finding(FindingCode.EFFICIENCY_IMPOSSIBLE, Severity.ERROR, evidence)]
    limit = BEST_EFFICIENCY[plate.motor_family]
    is_over = value - IN_U * u > limit
    is_under = value + IN_U * u < WORST_BEST_EFFICIENCY
    if not is_over and not is_under:
        return []
    evidence["limit"] = limit if is_over else WORST_BEST_EFFICIENCY
    return [Finding(FindingCode.EFFICIENCY_IMPROBABLE, Severity.WARNING, evidence)]


def _best_efficiency(worked: Worked) -> tuple[float, float, dict[str, JsonValue]] | None:
    """Best efficiency where the motor takes at least a tenth of its highest input, beyond u."""
    line = worked.line
    if line is not None and line.input_power is not None:
        x = line.grid()
        input_w = line.input_power.at(x)
        usable = input_w >= LOADED_SHARE * float(input_w.max())
        if float(input_w.max()) <= 0 or not usable.any():
            return None
        eta = line.power.at(x)[usable] / input_w[usable]
        u = np.hypot(line.power.u_at(x), 0.0)[usable] / input_w[usable]
        i = int(np.argmax(eta - IN_U * u))
        torque = float(line.torque_at(x[usable])[i])
        value, u_value = float(eta[i]), float(u[i])
        evidence: dict[str, JsonValue] = {"torque_nm": torque}
    else:
        known = [p for p in worked.points if p.efficiency is not None and p.n_effective >= 3]
        if not known:
            return None
        best = max(known, key=lambda p: (p.efficiency or 0.0) - IN_U * (p.u_efficiency or 0.0))
        value, u_value = best.efficiency or 0.0, best.u_efficiency or 0.0
        evidence = {"start_s": best.start_s, "end_s": best.end_s}
    evidence |= {"efficiency": value, "standard_uncertainty": u_value}
    return value, u_value, evidence


def _slip(worked: Worked, plate: Plate) -> Finding | None:
    metered = [i for i, p in enumerate(worked.points) if p.input_power_w is not None]
    # A load whose input was not noted takes no part, unless few were.
    kept = metered if 2 * len(metered) > len(worked.points) else range(len(worked.points))
    points, brake_w = [worked.points[i] for i in kept], [worked.brake_power_w[i] for i in kept]
    series = input_series(points, plate)
    if series is None:
        return None
    input_w, kind = series
    balance = energy_balance(points, brake_w, input_w, kind)
    if balance is None:
        # No load range to take a difference over: only the sum itself can be impossible.
        ratio = max(brake_w) / max(float(np.max(input_w)), 1e-12)
        if kind != "power" or ratio < SLOPE_TOO_HIGH:
            return None
    elif _is_sound(balance):
        return None
    else:
        ratio = balance.brake
    evidence: dict[str, JsonValue] = {
        "gain_of_brake_over_gain_of_input": ratio,
        "gain_of_shaft_over_gain_of_input": balance.shaft if balance is not None else None,
        "standard_uncertainty": balance.u_shaft if balance is not None else None,
        "input_from": kind,
        "expected": [SOUND_LOW, SOUND_HIGH],
        "candidates": [],
    }
    if ratio > 0:
        evidence["candidates"] = candidates(ratio, MECHANICAL) + candidates(1 / ratio, ELECTRICAL)
    return Finding(FindingCode.UNIT_SLIP, Severity.ERROR, evidence)


def _is_sound(balance: Balance) -> bool:
    """The corrected gain beyond its uncertainty, and the brake's own within wider limits.

    A slipped torque is swamped by drag and inertia terms that did not slip, hence both.
    """
    reach = IN_U * balance.u_shaft
    is_shaft_sound = (
        balance.shaft + reach > SLOPE_TOO_LOW and balance.shaft - reach < SLOPE_TOO_HIGH
    )
    return is_shaft_sound and BRAKE_TOO_LOW < balance.brake < BRAKE_TOO_HIGH


def _electrical(points: list[LoadPoint], plate: Plate) -> list[Finding]:
    """Power factor against volts times amperes, volts against the plate."""
    found: list[Finding] = []
    slip = _voltage_slip(points, plate)
    if slip is not None:
        found.append(slip)
    known = [p for p in points if p.power_factor is not None and p.input_power_w is not None]
    if not known:
        return found
    top = max(known, key=lambda p: p.input_power_w or 0.0)
    if (top.input_power_w or 0.0) <= 0:
        return found
    heavy = [p for p in known if (p.input_power_w or 0.0) >= 0.8 * (top.input_power_w or 0.0)]
    factors = np.array([p.power_factor for p in heavy], dtype=np.float64)
    value = float(np.median(factors))
    relative = np.hypot(
        (top.u_input_power_w or 0.0) / max(abs(top.input_power_w or 0.0), 1e-12),
        (top.u_current_a or 0.0) / max(abs(top.current_a or 0.0), 1e-12),
    )
    # The scatter among heavily loaded points stands in where single points have none.
    scatter = float(np.std(factors)) / np.sqrt(factors.size)
    u = float(np.hypot(value * max(relative, 0.002), scatter))
    evidence: dict[str, JsonValue] = {
        "power_factor": value,
        "standard_uncertainty": u,
        "start_s": top.start_s,
        "end_s": top.end_s,
    }
    is_low = plate.supply is not Supply.DC and value < FACTOR_TOO_LOW
    is_low |= plate.supply is Supply.DC and value < 0.5
    if value > FACTOR_TOO_HIGH or is_low:
        evidence["candidates"] = candidates(value, ELECTRICAL)
        found.append(Finding(FindingCode.UNIT_SLIP, Severity.ERROR, evidence))
    elif value - IN_U * u > 1.02:
        severity = Severity.ERROR if value - IN_U * u > 1.1 else Severity.WARNING
        found.append(Finding(FindingCode.POWER_FACTOR_OVER_ONE, severity, evidence))
    return found


def _voltage_slip(points: list[LoadPoint], plate: Plate) -> Finding | None:
    volts = [p.voltage_v for p in points if p.voltage_v]
    if plate.voltage_v is None or not volts:
        return None
    ratio = float(np.median(volts)) / plate.voltage_v
    if 1 / PLATE_VOLTAGE_SLIP < ratio < PLATE_VOLTAGE_SLIP:
        return None
    evidence: dict[str, JsonValue] = {
        "voltage_over_plate": ratio,
        "candidates": candidates(ratio, ELECTRICAL),
    }
    return Finding(FindingCode.UNIT_SLIP, Severity.ERROR, evidence)


def _as_evidence_only(finding: Finding) -> Finding:
    """The balance is off too, as it must be where an electrical channel slipped."""
    return Finding(finding.code, Severity.WARNING, finding.evidence)
