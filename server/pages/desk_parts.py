"""Parts of the desk's pages: similar runs, a tester's record, what a revision changed."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

from server.errors import InvalidInput
from server.model.moderation import TesterRecord
from server.model.similar import Basis, SimilarFigure
from server.pages.rows import figure_path
from server.pages.shapes import Value
from server.store.revisions import Difference, RevisionPair
from server.wording.counts import count_of, show_date
from server.wording.desk import off_words
from server.wording.figures import NOT_STATED, metric_label, show_metric, show_quantity

_SECTIONS = {
    "run": "The run",
    "plate": "Rating plate",
    "specimen": "Specimen",
    "rig": "Rig",
    "column": "Column",
}
_NAMES = {
    "voltage_v": "voltage",
    "frequency_hz": "frequency",
    "current_a": "current",
    "power_w": "power",
    "speed_rad_s": "speed",
    "circuit_a": "plug’s circuit",
    "arm_m": "arm",
    "inertia_kg_m2": "turning inertia",
    "rotor_inertia_kg_m2": "of it the rotor",
    "ambient_k": "ambient",
    "averaging_s": "momentary window",
    "file_sha256": "file’s digest",
    "n_rows": "readings",
    "lead_resistance_ohm": "leads",
    "pivot_friction_nm": "pivot’s friction",
    "arm_angle_rad": "arm off square",
}
MAX_VALUE = 160


@dataclass(frozen=True, slots=True)
class DifferenceShown:
    label: str
    before: str
    after: str


@dataclass(frozen=True, slots=True)
class RevisionsShown:
    before: str
    after: str
    reason: str | None
    rows: tuple[DifferenceShown, ...]


@dataclass(frozen=True, slots=True)
class SimilarRow:
    label: str
    href: str
    own: str
    others: str
    off: str
    is_far: bool


def show_record(record: TesterRecord) -> tuple[Value, ...]:
    standing = "good: clean runs are published at once" if record.is_in_standing else "not yet good"
    if record.is_vouched:
        standing += "; an administrator vouches for them"
    rows = [
        Value("Tester", record.name, note=f"since {show_date(record.since)}"),
        Value("Standing", standing),
        Value("Published", count_of(record.n_published, "run")),
        Value("Sent back at least once", count_of(record.n_returned, "run")),
        Value(
            "Withdrawn",
            count_of(record.n_withdrawn, "run"),
            note=f"{record.n_withdrawn_lately} lately" if record.n_withdrawn_lately else None,
        ),
        Value("Waiting", count_of(record.n_waiting, "run")),
        Value("Second factor", "yes" if record.has_second_factor else "no"),
        Value("Ties with", ", ".join(record.ties) or "no maker", is_missing=not record.ties),
    ]
    return tuple(rows)


def show_revisions(pair: RevisionPair) -> RevisionsShown:
    return RevisionsShown(
        before=f"Revision {pair.before}",
        after=f"Revision {pair.after}",
        reason=pair.reason,
        rows=tuple(_difference(one) for one in pair.differences),
    )


def _difference(one: Difference) -> DifferenceShown:
    name = _NAMES.get(one.field, one.field.replace("_", " "))
    section = _SECTIONS.get(one.section, one.section)
    joint = " " if one.section == "column" else ": "
    return DifferenceShown(f"{section}{joint}{name}", _text(one.before), _text(one.after))


def _text(value: Any) -> str:
    if value is None or value == "" or value == []:
        return NOT_STATED
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, date):
        return show_date(value)
    text = f"{value:g}" if isinstance(value, float) else str(value)
    return text if len(text) <= MAX_VALUE else f"{text[: MAX_VALUE - 1].rstrip()}…"


def show_similar(one: SimilarFigure, run_id: str) -> SimilarRow:
    name = one.own.name
    others = "no similar run"
    if one.typical is not None and one.low is not None and one.high is not None:
        if one.basis is Basis.APPLIANCE:
            spread = (one.high - one.low) / 2
            others = show_quantity(one.typical, spread, one.own.unit)
        else:
            low, high = (show_quantity(v, None, one.own.unit) for v in (one.low, one.high))
            others = f"{low} to {high}"
    return SimilarRow(
        label=metric_label(name),
        href=figure_path(run_id, name),
        own=show_metric(one.own).text,
        others=others,
        off=off_words(one.n_off, one.reason),
        is_far=one.is_far,
    )


def similar_basis_words(similar: Sequence[SimilarFigure]) -> str:
    same = [one for one in similar if one.basis is Basis.APPLIANCE]
    if same:
        most = max(same, key=lambda one: one.n_runs)
        return (
            f"Others: {count_of(most.n_runs, 'other run')} of this appliance by "
            f"{count_of(most.n_things, 'tester')}, pooled. A standard deviation is that of this "
            "run’s figure, of the pooled one, and between testers, together."
        )
    other = [one for one in similar if one.basis is Basis.CATEGORY]
    if other:
        most = max(other, key=lambda one: one.n_runs)
        return (
            "No other run of this appliance is published. Others: one standard deviation to either "
            f"side of the middle of {count_of(most.n_runs, 'other appliance')} of its category; "
            "the distance is by factors."
        )
    return "No similar run is published, so there is nothing to hold it against."


def problem_texts(refusal: InvalidInput) -> tuple[str, ...]:
    """Each problem as a sentence of its own, with what to do."""
    return tuple(f"{p.message[:1].upper()}{p.message[1:]} {p.remedy}" for p in refusal.problems)
