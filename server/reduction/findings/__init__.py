"""What the numbers show that a reader must know. Judged on dwell averages, beyond their u."""

from server.model.bench import Plate, Rig
from server.model.measured import Finding
from server.model.recording import Recording
from server.model.results import ReductionOptions
from server.model.words import Severity
from server.reduction.findings.channels import channel_findings
from server.reduction.findings.energy import energy_findings
from server.reduction.findings.figures import figure_findings
from server.reduction.findings.records import record_findings
from server.reduction.findings.speeds import speed_findings
from server.reduction.findings.torques import torque_findings
from server.reduction.worked import Worked

_ORDER = {Severity.ERROR: 0, Severity.WARNING: 1, Severity.INFO: 2}


def judge(
    worked: Worked, recording: Recording, *, plate: Plate, rig: Rig, options: ReductionOptions
) -> tuple[Finding, ...]:
    """All findings of a brake run, errors first."""
    found = [
        *energy_findings(worked, plate=plate),
        *speed_findings(worked, plate=plate),
        *torque_findings(worked),
        *channel_findings(worked, rig=rig),
        *figure_findings(worked, plate=plate, rig=rig),
        *record_findings(worked, recording, rig=rig, options=options),
    ]
    return tuple(sorted(found, key=lambda f: _ORDER[f.severity]))


__all__ = ["judge"]
