"""What the figures themselves lack: peak, rated current, efficiency, points, samples."""

import numpy as np

from server.model.bench import Plate, Rig
from server.model.measured import Finding, JsonValue
from server.model.words import FindingCode, MetricName, MotorFamily, SegmentKind, Severity, Supply
from server.reduction.worked import Worked

SUPPLY_TOLERANCE = 0.05
SAMPLES_IN_WINDOW = 5
LEAST_BANDWIDTH_HZ = 2000.0  # chopped and commutating currents; common practice, no source
MIN_POINTS = 5


def figure_findings(worked: Worked, *, plate: Plate, rig: Rig) -> list[Finding]:
    """Findings on the completeness of the figures; none of them is an error."""
    found = [*_peak(worked), *_rated(worked, plate), *_supply(worked, plate)]
    if len(worked.points) < MIN_POINTS:
        evidence: dict[str, JsonValue] = {"n_points": len(worked.points)}
        found.append(Finding(FindingCode.TOO_FEW_POINTS, Severity.WARNING, evidence))
    n = worked.momentary.n_in_window
    if n < SAMPLES_IN_WINDOW - 0.01:
        evidence = {"samples_in_window": n, "window_s": rig.averaging_s}
        found.append(Finding(FindingCode.SAMPLE_RATE_LOW, Severity.INFO, evidence))
    if worked.points and not any(p.input_power_w is not None for p in worked.points):
        has_both = worked.signals.voltage is not None and worked.signals.current is not None
        evidence = {"has_volts_and_amperes": has_both}
        found.append(Finding(FindingCode.NO_EFFICIENCY, Severity.INFO, evidence))
    found += _meter(worked, plate, rig)
    found += _inertia(worked, rig)
    return found + _ended_early(worked)


def _inertia(worked: Worked, rig: Rig) -> list[Finding]:
    """A sweep without the inertia: torque that slows what turns is taken for the motor's."""
    n_sweep = sum(not p.is_dwell for p in worked.points)
    if rig.inertia_kg_m2 is not None or n_sweep == 0:
        return []
    evidence: dict[str, JsonValue] = {"n_sweep_points": n_sweep, "n_points": len(worked.points)}
    return [Finding(FindingCode.INERTIA_UNKNOWN, Severity.INFO, evidence)]


def _ended_early(worked: Worked) -> list[Finding]:
    """The current collapsed under load; a warning where the peak was still to come."""
    metric = worked.metrics.get(MetricName.SHAFT_POWER_MAX_STEADY)
    is_open = metric is None or metric.value is None or metric.lower_bound
    severity = Severity.WARNING if is_open else Severity.INFO
    return [
        Finding(
            FindingCode.RUN_ENDED_EARLY,
            severity,
            {"at_s": float(worked.blocks.start_s[s.first])},
        )
        for s in worked.stretches
        if s.kind is SegmentKind.FAILURE
    ]


def _peak(worked: Worked) -> list[Finding]:
    metric = worked.metrics.get(MetricName.SHAFT_POWER_MAX_STEADY)
    if metric is None or metric.value is None or not metric.lower_bound:
        return []
    side = worked.peak.open_end if worked.peak is not None else None
    evidence: dict[str, JsonValue] = {"highest_w": metric.value, "open_end": side}
    return [Finding(FindingCode.PEAK_NOT_BRACKETED, Severity.WARNING, evidence)]


def _rated(worked: Worked, plate: Plate) -> list[Finding]:
    metric = worked.metrics.get(MetricName.SHAFT_POWER_AT_RATED_CURRENT)
    if plate.current_a is None or metric is None or metric.value is not None:
        return []
    currents = [p.current_a for p in worked.points if p.current_a is not None]
    if not currents:
        return []
    if min(currents) <= plate.current_a <= max(currents):
        return []  # reached: the figure is missing for another reason, which it names
    evidence: dict[str, JsonValue] = {
        "plate_a": plate.current_a,
        "lowest_a": min(currents),
        "highest_a": max(currents),
    }
    return [Finding(FindingCode.RATED_CURRENT_NOT_REACHED, Severity.INFO, evidence)]


def _supply(worked: Worked, plate: Plate) -> list[Finding]:
    volts = [p.voltage_v for p in worked.points if p.voltage_v is not None]
    if plate.voltage_v is None or not volts:
        return []
    ratio = float(np.median(volts)) / plate.voltage_v
    if abs(ratio - 1) <= SUPPLY_TOLERANCE:
        return []
    evidence: dict[str, JsonValue] = {
        "median_v": float(np.median(volts)),
        "plate_v": plate.voltage_v,
        "ratio": ratio,
    }
    return [Finding(FindingCode.SUPPLY_OFF_PLATE, Severity.WARNING, evidence)]


def _meter(worked: Worked, plate: Plate, rig: Rig) -> list[Finding]:
    """A meter that averages, or is too slow, on a motor whose current is not a sine."""
    is_chopped = plate.motor_family in (MotorFamily.SERIES, MotorFamily.PERMANENT_MAGNET)
    if plate.supply is not Supply.AC or not is_chopped or worked.signals.current is None:
        return []
    is_slow = rig.meter_bandwidth_hz is not None and rig.meter_bandwidth_hz < LEAST_BANDWIDTH_HZ
    if rig.meter_true_rms is not False and not is_slow:
        return []
    evidence: dict[str, JsonValue] = {
        "true_rms": rig.meter_true_rms,
        "bandwidth_hz": rig.meter_bandwidth_hz,
        "least_bandwidth_hz": LEAST_BANDWIDTH_HZ,
    }
    return [Finding(FindingCode.METER_UNFIT, Severity.WARNING, evidence)]
