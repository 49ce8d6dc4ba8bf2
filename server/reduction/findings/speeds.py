"""Speed against the mains, and pulses missed or counted twice."""

import math

from server.model.bench import Plate
from server.model.measured import Finding
from server.model.results import LoadPoint
from server.model.words import FindingCode, MotorFamily, Severity
from server.reduction.signals import HOPS_THAT_MATTER
from server.reduction.worked import Worked

SYNCHRONOUS_MARGIN = 0.002  # what a mains frequency may be off
LAST_POLES = 8
# Just above a synchronous speed is a fault where the next one up would mean this much free slip.
UNLIKELY_FREE_SLIP = 0.25
JUST_ABOVE = 0.05


def speed_findings(worked: Worked, *, plate: Plate) -> list[Finding]:
    """An induction motor at or above synchronous speed; speed pulses missed or doubled."""
    found = []
    hops = worked.signals.n_speed_hops
    if hops >= HOPS_THAT_MATTER:
        evidence = {"n_samples": hops, "n_rows": int(worked.ordered.time_s.size)}
        found.append(Finding(FindingCode.SPEED_PULSES, Severity.WARNING, dict(evidence)))
    if plate.motor_family is MotorFamily.INDUCTION and plate.frequency_hz:
        point = max(worked.points, key=lambda p: p.speed_rad_s, default=None)
        if point is not None:
            found += _synchronous(point, plate.frequency_hz)
    return found


def _synchronous(point: LoadPoint, frequency_hz: float) -> list[Finding]:
    speed, u = point.speed_rad_s, point.u_speed_rad_s or 0.0
    highest = 2 * math.pi * frequency_hz
    surely = speed - 3 * u
    over: float | None = None
    if surely > highest * (1 + SYNCHRONOUS_MARGIN):
        over = highest
    for poles in range(4, LAST_POLES + 1, 2):
        below, above = highest * 2 / poles, highest * 2 / (poles - 2)
        is_just_above = below * (1 + SYNCHRONOUS_MARGIN) < surely < below * (1 + JUST_ABOVE)
        if is_just_above and 1 - speed / above > UNLIKELY_FREE_SLIP:
            over = below
    if over is None:
        return []
    found = [
        Finding(
            FindingCode.ABOVE_SYNCHRONOUS_SPEED,
            Severity.ERROR,
            {
                "speed_rad_s": speed,
                "standard_uncertainty": u,
                "synchronous_rad_s": over,
                "frequency_hz": frequency_hz,
            },
        )
    ]
    if over == highest and 1.4 < speed / highest < 2.1:
        found.append(
            Finding(
                FindingCode.SPEED_PULSES,
                Severity.WARNING,
                {"speed_over_synchronous": speed / highest, "factor": 2.0},
            )
        )
    return found
