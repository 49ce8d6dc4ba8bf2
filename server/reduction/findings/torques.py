"""Sign and zero of the torque sensor."""

import numpy as np

from server.model.measured import Finding
from server.model.words import FindingCode, Severity
from server.reduction.worked import Worked

OFFSET_SHARE = 0.01  # of the highest brake torque; smaller offsets go without saying
DRIFT_SHARE = 0.02
NEGATIVE_SHARE = 0.02


def torque_findings(worked: Worked) -> list[Finding]:
    """Torque that was negative while driving; a zero that was off, that drifted, or is unknown."""
    found = []
    brake = np.array(worked.brake_torque_nm)
    if brake.size == 0:
        return []
    top = float(brake.max())
    if worked.shaft.torque_sign * worked.shaft.speed_sign < 0:
        evidence = {"torque_nm": -top}
        found.append(Finding(FindingCode.TORQUE_SIGN, Severity.WARNING, dict(evidence)))
    zero = worked.zero
    if zero.before_nm is None and zero.after_nm is None:
        least = int(np.argmin(brake))
        u = worked.points[least].u_torque_nm or 0.0
        if brake[least] + 3 * u < -NEGATIVE_SHARE * top:
            evidence = {"least_torque_nm": float(brake[least]), "highest_torque_nm": top}
            found.append(Finding(FindingCode.TORQUE_ZERO, Severity.WARNING, dict(evidence)))
        return found
    offset = zero.before_nm if zero.before_nm is not None else zero.after_nm
    drift = zero.drift_nm
    is_drifting = drift is not None and abs(drift) > DRIFT_SHARE * top
    if is_drifting or zero.is_after_left_out or abs(offset or 0.0) > OFFSET_SHARE * top:
        severity = Severity.WARNING if is_drifting else Severity.INFO
        found.append(
            Finding(
                FindingCode.TORQUE_ZERO,
                severity,
                {
                    "before_nm": zero.before_nm,
                    "after_nm": zero.after_nm,
                    "drift_nm": drift,
                    "highest_torque_nm": top,
                    "is_after_left_out": zero.is_after_left_out,
                },
            )
        )
    return found
