"""The file behind a run's figures, with all that its sender said of it."""

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import ColumnElement, select
from sqlalchemy.orm import Session

from server.model.bench import Bench
from server.store import tables as t
from server.store.files import original_path
from server.store.shapes import choices_of, details_of, plate_of, rig_of


@dataclass(frozen=True, slots=True)
class SentLog:
    """What a log is read and reduced with. The file is in its place."""

    path: Path
    file_name: str
    file_sha256: str
    bench: Bench


def log_of_run(session: Session, *, run_id: int, files: Path) -> SentLog:
    """The log of a run's current revision."""
    run = t.RunRow
    found = _find(session, files, run.id == run_id, run.current_revision_id == t.RunRevisionRow.id)
    assert found is not None  # a run has a revision
    return found


def log_of_recording(session: Session, *, sha256: str, files: Path) -> SentLog | None:
    """A log that was read to this recording; None where no run refers to it."""
    return _find(session, files, t.RunRevisionRow.recording_sha256 == sha256)


def _find(session: Session, files: Path, *which: ColumnElement[bool]) -> SentLog | None:
    run, revision = t.RunRow, t.RunRevisionRow
    query = (
        select(run.kind, revision, t.PlateRevisionRow, t.RigRevisionRow)
        .join(revision, revision.run_id == run.id)
        .join(t.PlateRevisionRow, t.PlateRevisionRow.id == revision.plate_revision_id)
        .join(t.RigRevisionRow, t.RigRevisionRow.id == revision.rig_revision_id)
        .where(*which)
        .order_by(revision.id)
        .limit(1)
    )
    row = session.execute(query).first()
    if row is None:
        return None
    sent = row.RunRevisionRow
    return SentLog(
        path=original_path(files, sent.file_sha256),
        file_name=sent.file_name,
        file_sha256=sent.file_sha256,
        bench=Bench(
            plate=plate_of(row.PlateRevisionRow),
            rig=rig_of(row.RigRevisionRow),
            columns=choices_of(sent.choices),
            run=details_of(sent, kind=row.kind),
        ),
    )
