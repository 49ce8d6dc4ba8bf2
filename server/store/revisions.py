"""What two revisions of a run say differently."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store import tables as t
from server.store.shapes import PLATE_FIELDS, RIG_FIELDS, SPECIMEN_FIELDS

_OWN = (
    "source",
    "tested_on",
    "ambient_k",
    "supply_note",
    "notes",
    "added_inertia_kg_m2",
    "cold_resistance_ohm",
    "hot_resistance_ohm",
    "cold_temperature_k",
    "winding_material",
    "winding_standard",
    "file_name",
    "file_sha256",
    "n_rows",
)
_KEPT_AS_TYPED = {"typed"}


@dataclass(frozen=True, slots=True)
class Difference:
    """A field of two revisions, each as stored; `section` and `field` as in the bench file."""

    section: str
    field: str
    before: Any
    after: Any


@dataclass(frozen=True, slots=True)
class RevisionPair:
    before: int
    after: int
    reason: str | None
    differences: tuple[Difference, ...]


def newest_change(session: Session, *, run_id: str) -> RevisionPair | None:
    """The current revision of a run (public id) beside the one before; None for a first one."""
    revision = t.RunRevisionRow
    rows = session.execute(
        select(
            revision,
            t.PlateRevisionRow,
            t.RigRevisionRow,
            t.SpecimenRow,
            t.PersonTextRow.text.label("reason"),
        )
        .join(t.RunRow, t.RunRow.id == revision.run_id)
        .join(t.PlateRevisionRow, t.PlateRevisionRow.id == revision.plate_revision_id)
        .join(t.RigRevisionRow, t.RigRevisionRow.id == revision.rig_revision_id)
        .join(t.SpecimenRow, t.SpecimenRow.id == revision.specimen_id)
        .outerjoin(t.PersonTextRow, t.PersonTextRow.id == revision.reason_id)
        .where(t.RunRow.public_id == run_id)
        .order_by(revision.number.desc())
        .limit(2)
    ).all()
    if len(rows) < 2:
        return None
    new, old = rows
    return RevisionPair(
        before=old.RunRevisionRow.number,
        after=new.RunRevisionRow.number,
        reason=new.reason,
        differences=_differences(_said(old), _said(new)),
    )


def _said(row: Any) -> dict[tuple[str, str], Any]:
    said: dict[tuple[str, str], Any] = {}
    parts: tuple[tuple[str, Any, tuple[str, ...]], ...] = (
        ("run", row.RunRevisionRow, _OWN),
        ("plate", row.PlateRevisionRow, PLATE_FIELDS),
        ("specimen", row.SpecimenRow, SPECIMEN_FIELDS),
        ("rig", row.RigRevisionRow, RIG_FIELDS),
    )
    for section, part, names in parts:
        typed: Mapping[str, Any] = getattr(part, "typed", None) or {}
        for name in names:
            if name in _KEPT_AS_TYPED:
                continue
            value = getattr(part, name)
            said[section, name] = typed.get(name, value) if value is not None else None
    for column in row.RunRevisionRow.columns:
        place = f"{column['position'] + 1} “{column['header']}”"
        said["column", place] = f"{column['channel'] or 'not used'} {column['unit'] or ''}".strip()
    return said


def _differences(
    before: Mapping[tuple[str, str], Any], after: Mapping[tuple[str, str], Any]
) -> tuple[Difference, ...]:
    return tuple(
        Difference(*key, before.get(key), after.get(key))
        for key in dict.fromkeys((*before, *after))
        if before.get(key) != after.get(key)
    )
