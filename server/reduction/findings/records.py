"""The recording's own blemishes, lag between channels, and calibration dates."""

from datetime import date, timedelta

from server.model.bench import Rig
from server.model.measured import Finding, JsonValue
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import FindingCode, Severity
from server.reduction.ordering import Ordered
from server.reduction.worked import Worked

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
    """What holds for runs of any kind: last line cut, time out of order, calibration dates."""
    found = []
    cut = recording.notes.get("last_line_cut")
    if cut is not None:
        evidence: dict[str, JsonValue] = cut if isinstance(cut, dict) else {"note": cut}
        found.append(Finding(FindingCode.LAST_LINE_CUT, Severity.INFO, evidence))
    if ordered.n_moved or ordered.n_repeated or ordered.is_clock_coarse:
        evidence = {
            "n_out_of_order": ordered.n_moved,
            "n_repeated": ordered.n_repeated,
            "is_clock_coarse": ordered.is_clock_coarse,
        }
        found.append(Finding(FindingCode.TIME_DISORDERED, Severity.INFO, evidence))
    return (*found, *_calibration(rig, options))


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
