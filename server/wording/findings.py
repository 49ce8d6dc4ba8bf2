"""Findings in words: what was found, where, and what can be done about it.

States definitions, numbers and limits; says nothing about why somebody printed a figure.
"""

from collections.abc import Callable
from dataclasses import dataclass

from server.model.measured import Finding
from server.model.words import FindingCode
from server.wording import finding_sentences as sentences
from server.wording import rig_sentences, uncertainty_sentences

Evidence = sentences.Evidence


@dataclass(frozen=True, slots=True)
class FindingText:
    """Plain sentences. `where` names the place in the run, None for the whole of it."""

    message: str
    remedy: str
    where: str | None


def finding_text(finding: Finding) -> FindingText:
    """Put one finding into words; the numbers are those of its evidence."""
    write = _WRITERS[finding.code]
    message, remedy = write(finding.evidence)
    return FindingText(message=message, remedy=remedy, where=_where(finding.evidence))


def _where(evidence: Evidence) -> str | None:
    start, end = evidence.get("start_s"), evidence.get("end_s")
    if isinstance(start, int | float) and isinstance(end, int | float):
        return f"{start:.1f} s to {end:.1f} s"
    at = evidence.get("at_s")
    if isinstance(at, int | float):
        return f"at {at:.1f} s"
    torque = evidence.get("torque_nm")
    if isinstance(torque, int | float):
        return f"near {torque:.3g} N·m"
    return None


_WRITERS: dict[FindingCode, Callable[[Evidence], tuple[str, str]]] = {
    FindingCode.EFFICIENCY_IMPOSSIBLE: sentences.impossible,
    FindingCode.EFFICIENCY_IMPROBABLE: sentences.improbable,
    FindingCode.POWER_FACTOR_OVER_ONE: sentences.power_factor,
    FindingCode.TORQUE_SIGN: sentences.torque_sign,
    FindingCode.TORQUE_ZERO: sentences.torque_zero,
    FindingCode.SENSOR_OVER_RANGE: sentences.over_range,
    FindingCode.ABOVE_SYNCHRONOUS_SPEED: sentences.synchronous,
    FindingCode.SPEED_PULSES: sentences.pulses,
    FindingCode.UNIT_SLIP: sentences.unit_slip,
    FindingCode.SAMPLE_RATE_LOW: sentences.sample_rate,
    FindingCode.METER_UNFIT: sentences.meter,
    FindingCode.RATED_CURRENT_NOT_REACHED: sentences.not_reached,
    FindingCode.PEAK_NOT_BRACKETED: sentences.not_bracketed,
    FindingCode.SUPPLY_OFF_PLATE: sentences.off_plate,
    FindingCode.CHANNEL_CLIPPED: rig_sentences.clipped,
    FindingCode.CHANNEL_FROZEN: sentences.frozen,
    FindingCode.CHANNELS_LAG: sentences.lag,
    FindingCode.LAST_LINE_CUT: sentences.last_line,
    FindingCode.OUT_OF_CALIBRATION: rig_sentences.calibration,
    FindingCode.SAME_FILE: sentences.same_file,
    FindingCode.TIME_DISORDERED: sentences.disordered,
    FindingCode.RUN_ENDED_EARLY: sentences.ended_early,
    FindingCode.NO_EFFICIENCY: sentences.no_efficiency,
    FindingCode.TOO_FEW_POINTS: sentences.few_points,
    FindingCode.INERTIA_UNKNOWN: sentences.inertia_unknown,
    FindingCode.INTERVAL_DRAWN: uncertainty_sentences.interval_drawn,
    FindingCode.AMBIENT_UNKNOWN: rig_sentences.ambient_unknown,
    FindingCode.LEADS: rig_sentences.leads,
}
