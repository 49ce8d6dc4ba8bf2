"""What the rows of the queue say: appliance, sender, findings, who has them."""

from collections import defaultdict
from collections.abc import Sequence
from datetime import datetime
from typing import Any

from sqlalchemy import Row, select
from sqlalchemy.orm import Session, aliased

from server.model.measured import Finding
from server.model.moderation import TAKEN_FOR, DeskItem, DeskKind
from server.model.views import Tester
from server.model.words import Severity
from server.store import tables as t
from server.store.journal import now
from server.store.shapes import finding_of

_HOLDER = aliased(t.TesterRow)
_APPLIANCE = (
    t.ApplianceRow.public_id.label("appliance_id"),
    t.ApplianceRow.maker,
    t.ApplianceRow.model,
    t.ApplianceRow.maker_key,
    t.ApplianceRow.category,
)


def load_items(
    session: Session, *, rows: Sequence[Row[Any]], viewer: Tester
) -> tuple[DeskItem, ...]:
    """Rows of (kind, source, at, key) with what they are about, in their order."""
    keys: dict[str, list[int]] = defaultdict(list)
    for row in rows:
        keys[row.source].append(row.key)
    loaded = {
        "run": _runs(session, keys["run"]),
        "concern": _concerns(session, keys["concern"]),
        "job": _jobs(session, keys["job"]),
        "statement": _statements(session, keys["statement"]),
    }
    runs = loaded["run"].values()
    errors = _errors(session, [one.current_set_id for one in runs])
    tie = t.MakerTieRow
    tied = set(session.execute(select(tie.maker_key).where(tie.tester_id == viewer.id)).scalars())
    return tuple(
        _item(row, loaded[row.source][row.key], errors=errors, tied=tied, viewer=viewer)
        for row in rows
    )


def _runs(session: Session, keys: Sequence[int]) -> dict[int, Row[Any]]:
    run = t.RunRow
    query = (
        select(
            run.id,
            run.public_id,
            run.public_id.label("run_id"),
            run.kind.label("run_kind"),
            run.version,
            run.current_set_id,
            run.assigned_at,
            run.tester_id.label("owner_id"),
            t.TesterRow.name.label("by"),
            _HOLDER.id.label("holder_id"),
            _HOLDER.name.label("holder"),
            *_APPLIANCE,
        )
        .join(t.ApplianceRow, t.ApplianceRow.id == run.appliance_id)
        .join(t.TesterRow, t.TesterRow.id == run.tester_id)
        .outerjoin(_HOLDER, _HOLDER.id == run.assigned_to_id)
        .where(run.id.in_(keys))
    )
    return _by_key(session, query) if keys else {}


def _concerns(session: Session, keys: Sequence[int]) -> dict[int, Row[Any]]:
    concern = t.ConcernRow
    query = (
        select(
            concern.id,
            concern.public_id,
            t.RunRow.public_id.label("run_id"),
            t.RunRow.kind.label("run_kind"),
            concern.version,
            concern.assigned_at,
            concern.by_id.label("owner_id"),
            concern.not_for_id,
            concern.figure,
            t.TesterRow.name.label("by"),
            _HOLDER.id.label("holder_id"),
            _HOLDER.name.label("holder"),
            t.PersonTextRow.text,
            *_APPLIANCE,
        )
        .join(t.PersonTextRow, t.PersonTextRow.id == concern.text_id)
        .outerjoin(t.ApplianceRow, t.ApplianceRow.id == concern.appliance_id)
        .outerjoin(t.RunRow, t.RunRow.id == concern.run_id)
        .outerjoin(t.TesterRow, t.TesterRow.id == concern.by_id)
        .outerjoin(_HOLDER, _HOLDER.id == concern.assigned_to_id)
        .where(concern.id.in_(keys))
    )
    return _by_key(session, query) if keys else {}


def _jobs(session: Session, keys: Sequence[int]) -> dict[int, Row[Any]]:
    job = t.JobRow
    query = (
        select(
            job.id,
            t.RunRow.public_id.label("public_id"),
            t.RunRow.public_id.label("run_id"),
            t.RunRow.kind.label("run_kind"),
            t.RunRow.version,
            t.RunRow.tester_id.label("owner_id"),
            t.TesterRow.name.label("by"),
            job.error.label("text"),
            *_APPLIANCE,
        )
        .outerjoin(t.RunRow, t.RunRow.id == job.run_id)
        .outerjoin(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
        .outerjoin(t.TesterRow, t.TesterRow.id == t.RunRow.tester_id)
        .where(job.id.in_(keys))
    )
    return _by_key(session, query) if keys else {}


def _statements(session: Session, keys: Sequence[int]) -> dict[int, Row[Any]]:
    own = t.StatementRow
    query = (
        select(
            own.id,
            t.ClaimRow.public_id.label("public_id"),
            own.by_id.label("owner_id"),
            t.TesterRow.name.label("by"),
            t.PersonTextRow.text,
            *_APPLIANCE,
        )
        .join(t.ClaimRow, t.ClaimRow.id == own.claim_id)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
        .join(t.PersonTextRow, t.PersonTextRow.id == own.text_id)
        .join(t.TesterRow, t.TesterRow.id == own.by_id)
        .where(own.id.in_(keys))
    )
    return _by_key(session, query) if keys else {}


def _by_key(session: Session, query: Any) -> dict[int, Row[Any]]:
    return {row.id: row for row in session.execute(query)}


def _errors(session: Session, set_ids: Sequence[int | None]) -> dict[int, tuple[Finding, ...]]:
    """The findings that hold runs back, by metric set. One statement."""
    wanted = [key for key in set_ids if key is not None]
    if not wanted:
        return {}
    finding = t.FindingRow
    found: dict[int, list[Finding]] = defaultdict(list)
    for row in session.execute(
        select(finding.metric_set_id, finding.code, finding.severity, finding.evidence)
        .where(finding.metric_set_id.in_(wanted), finding.severity == Severity.ERROR.value)
        .order_by(finding.metric_set_id, finding.position)
    ):
        found[row.metric_set_id].append(finding_of(row))
    return {key: tuple(findings) for key, findings in found.items()}


def _item(
    place: Row[Any],
    about: Row[Any],
    *,
    errors: dict[int, tuple[Finding, ...]],
    tied: set[str],
    viewer: Tester,
) -> DeskItem:
    said = about._mapping
    assigned_at: datetime | None = said.get("assigned_at")
    is_taken = assigned_at is not None and assigned_at + TAKEN_FOR > now()
    named = about.maker is not None
    is_barred = (
        said.get("owner_id") == viewer.id
        or about.maker_key in tied
        or said.get("not_for_id") == viewer.id
    )
    return DeskItem(
        kind=DeskKind(place.kind),
        source=place.source,
        public_id=said.get("public_id") or "",
        at=place.at,
        appliance_id=about.appliance_id,
        appliance=f"{about.maker} {about.model}" if named else None,
        category=about.category,
        run_id=said.get("run_id"),
        run_kind=said.get("run_kind"),
        by=said.get("by"),
        text=said.get("text") or said.get("figure"),
        errors=errors.get(said.get("current_set_id") or 0, ()),
        version=said.get("version") or 0,
        assigned_to=said.get("holder") if is_taken else None,
        assigned_at=assigned_at if is_taken else None,
        is_held_by_other=is_taken and said.get("holder_id") != viewer.id,
        is_barred=is_barred,
    )
