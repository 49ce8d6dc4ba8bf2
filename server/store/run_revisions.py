"""What a run said, revision by revision, each with the figures that it gave last."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.bench import Bench
from server.model.measured import Finding, JsonValue, Metric
from server.model.people import MAINTAIN
from server.model.recording import Column
from server.model.views import StoredFile, Tester
from server.model.words import MetricName, RunState
from server.store import tables as t
from server.store.run_views import findings_of_sets, metrics_of_sets
from server.store.shapes import (
    appliance_of,
    choices_of,
    columns_of,
    details_of,
    plate_of,
    rig_of,
    specimen_of,
)


@dataclass(frozen=True, slots=True)
class RunRevision:
    """`bench`: all that it says, as a bench file would. `reason`: why it was made; None for the
    first, and once it was erased."""

    run_id: str
    number: int
    is_current: bool
    was_published: bool
    created_at: datetime
    reason: str | None
    bench: Bench
    file: StoredFile
    columns: tuple[Column, ...]
    dialect: Mapping[str, JsonValue]
    n_rows: int
    metrics: Mapping[MetricName, Metric]
    findings: tuple[Finding, ...]


def run_revisions(
    session: Session, *, public_id: str, viewer: Tester | None
) -> tuple[RunRevision, ...]:
    """The revisions of a run that the viewer may see, the newest first.

    Its tester and maintainers see all; others those that were ever published, also while a
    correction waits, but none of a run that was withdrawn. Raises NotFound where there is none.
    """
    run = session.execute(
        select(t.RunRow).where(t.RunRow.public_id == public_id)
    ).scalar_one_or_none()
    found = _revisions(session, run) if run is not None else []
    if run is not None and not _sees_all(run, viewer):
        is_gone = run.state == RunState.WITHDRAWN
        found = [one for one in found if one.was_published and not is_gone]
    if not found:
        raise NotFound(f"There is no run {public_id}.")
    return tuple(reversed(found))


def _sees_all(run: t.RunRow, viewer: Tester | None) -> bool:
    return viewer is not None and (viewer.id == run.tester_id or MAINTAIN in viewer.scopes)


def _revisions(session: Session, run: t.RunRow) -> list[RunRevision]:
    revision = t.RunRevisionRow
    rows = session.execute(
        select(
            revision,
            t.PlateRevisionRow,
            t.ApplianceRow,
            t.SpecimenRow,
            t.RigRevisionRow,
            t.StoredFileRow.n_bytes,
            t.PersonTextRow.text.label("reason"),
        )
        .join(t.PlateRevisionRow, t.PlateRevisionRow.id == revision.plate_revision_id)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.PlateRevisionRow.appliance_id)
        .join(t.SpecimenRow, t.SpecimenRow.id == revision.specimen_id)
        .join(t.RigRevisionRow, t.RigRevisionRow.id == revision.rig_revision_id)
        .join(t.StoredFileRow, t.StoredFileRow.sha256 == revision.file_sha256)
        .outerjoin(t.PersonTextRow, t.PersonTextRow.id == revision.reason_id)
        .where(revision.run_id == run.id)
        .order_by(revision.number)
    ).all()
    sets = _sets(session, [row.RunRevisionRow.id for row in rows])
    last = {key: set_id for key, (set_id, _) in sets.items()}
    metrics = metrics_of_sets(session, list(last.values()))
    findings = findings_of_sets(session, list(last.values()))
    made = []
    for row in rows:
        set_id = last.get(row.RunRevisionRow.id)
        made.append(
            _view(
                run,
                row,
                was_published=sets.get(row.RunRevisionRow.id, (0, False))[1],
                metrics=metrics.get(set_id, {}) if set_id is not None else {},
                findings=tuple(findings.get(set_id, ())) if set_id is not None else (),
            )
        )
    return made


def _sets(session: Session, revision_ids: list[int]) -> dict[int, tuple[int, bool]]:
    """The newest set of each revision, and whether any of its sets was ever published."""
    made = t.MetricSetRow
    rows = session.execute(
        select(
            made.run_revision_id,
            func.max(made.id),
            func.count().filter(made.was_published),
        )
        .where(made.run_revision_id.in_(revision_ids))
        .group_by(made.run_revision_id)
    )
    return {key: (newest, bool(n_published)) for key, newest, n_published in rows}


def _view(
    run: t.RunRow,
    row: Any,
    *,
    was_published: bool,
    metrics: Mapping[MetricName, Metric],
    findings: tuple[Finding, ...],
) -> RunRevision:
    revision = row.RunRevisionRow
    return RunRevision(
        run_id=run.public_id,
        number=revision.number,
        is_current=revision.id == run.current_revision_id,
        was_published=was_published,
        created_at=revision.created_at,
        reason=row.reason,
        bench=Bench(
            plate=plate_of(row.PlateRevisionRow),
            rig=rig_of(row.RigRevisionRow),
            columns=choices_of(revision.choices),
            appliance=appliance_of(row.ApplianceRow),
            specimen=specimen_of(row.SpecimenRow),
            run=details_of(revision, kind=run.kind),
        ),
        file=StoredFile(revision.file_sha256, revision.file_name, row.n_bytes),
        columns=columns_of(revision.columns),
        dialect=revision.dialect,
        n_rows=revision.n_rows or 0,
        metrics=metrics,
        findings=findings,
    )
