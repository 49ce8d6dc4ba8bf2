"""The recording's own blemishes, lag between channels, and calibration dates."""

from datetime import date, timedelta

from server.model.bench import Rig
from server.model.measured import Finding, JsonValue
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import FindingCode, Severity
from server.reduction.leads import lead_findings
from server.reduction.ordering import Ordered
from server.reduction.worked import Worked

OVERLOAD_TOLD, OVERLOAD_BAD = 5e-3, 1e-2  # of the rows
LEAST_OVERLOADS = 5
DROPPED_TOLD = 0.01  # of the rows that are left
CALIBRATION_INTERVAL = timedelta(days=366)  # a year; common practice, no source


def record_findings(
    worked: Worked, recording: Recording, *, rig: Rig, options: ReductionOptions
) -> list[Finding]:
    """Last line cut, time out of order, channels that lag, instruments out of calibration."""
    found = list(recording_findings(worked.ordered, recording, rig=rig, options=options))
    if worked.lag.applied:
        evidence: dict[str, JsonValue] = {"seconds": worked.lag.seconds, "applied": True}
        found.append(Finding(FindingCode.CHANNELS_LAG, Severity.INFO, evidence))
    return found


def recording_findings(
    ordered: Ordered, recording: Recording, *, rig: Rig, options: ReductionOptions
) -> tuple[Finding, ...]:
    """What holds for runs of any kind: last line cut, time out of order, calibration dates,
    an ambient that is missed, and leads."""
    found = []
    cut = recording.notes.get("last_line_cut")
    if cut is not None:
        evidence: dict[str, JsonValue] = cut if isinstance(cut, dict) else {"note": cut}
        found.append(Finding(FindingCode.LAST_LINE_CUT, Severity.INFO, evidence))
    elif recording.notes.get("last_newline_missing") is True:
        found.append(Finding(FindingCode.LAST_LINE_CUT, Severity.INFO, {"is_kept": True}))
    found += _overloads(recording)
    found += _dropped(recording)
    if ordered.n_moved or ordered.n_repeated or ordered.is_clock_coarse:
        evidence = {
            "n_out_of_order": ordered.n_moved,
            "n_repeated": ordered.n_repeated,
            "is_clock_coarse": ordered.is_clock_coarse,
        }
        found.append(Finding(FindingCode.TIME_DISORDERED, Severity.INFO, evidence))
    return (
        *found,
        *_calibration(rig, options),
        *_ambient(rig, options),
        *lead_findings(ordered.channels, rig),
    )


def _overloads(recording: Recording) -> list[Finding]:
    """Cells in which the logger wrote that its input was beyond the range, column by column."""
    cells = recording.notes.get("overload_cells")
    n_rows = recording.time_s.size
    found = []
    for column, n in cells.items() if isinstance(cells, dict) else ():
        if not isinstance(n, int) or n < max(LEAST_OVERLOADS, OVERLOAD_TOLD * n_rows):
            continue
        severity = Severity.WARNING if n >= OVERLOAD_BAD * n_rows else Severity.INFO
        evidence: dict[str, JsonValue] = {"column": column, "n_cells": n, "n_rows": n_rows}
        found.append(Finding(FindingCode.SENSOR_OVER_RANGE, severity, evidence))
    return found


def _dropped(recording: Recording) -> list[Finding]:
    """Rows with readings but no time, where they are a good part of the log."""
    dropped = recording.notes.get("rows_dropped")
    n = dropped.get("without_time") if isinstance(dropped, dict) else None
    if not isinstance(n, int) or n < DROPPED_TOLD * recording.time_s.size:
        return []
    evidence: dict[str, JsonValue] = {"n_without_time": n, "n_rows": recording.time_s.size}
    return [Finding(FindingCode.TIME_DISORDERED, Severity.INFO, evidence)]


def _ambient(rig: Rig, options: ReductionOptions) -> list[Finding]:
    """Temperature coefficients that say nothing, as the ambient is not known."""
    stated = {i.channel.value: None for i in rig.instruments if i.temperature_coefficient_per_k}
    if options.ambient_k is not None or not stated:
        return []
    return [Finding(FindingCode.AMBIENT_UNKNOWN, Severity.INFO, {"channels": list(stated)})]


def _calibration(rig: Rig, options: ReductionOptions) -> list[Finding]:
    if options.tested_on is None:
        return []
    tested = date.fromisoformat(options.tested_on[:10])
    late: list[JsonValue] = [
        {"channel": i.channel.value, "name": i.name, "calibrated": i.calibrated.isoformat()}
        for i in rig.instruments
        if i.calibrated is not None and i.calibrated + CALIBRATION_INTERVAL < tested
    ]
    if not late:
        return []
    evidence: dict[str, JsonValue] = {"instruments": late, "tested_on": tested.isoformat()}
    return [Finding(FindingCode.OUT_OF_CALIBRATION, Severity.WARNING, evidence)]
