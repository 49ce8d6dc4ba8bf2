"""Remove stored files that nothing refers to."""

from collections.abc import Sequence
from pathlib import Path

from sqlalchemy import Engine, delete, exists, select
from sqlalchemy.orm import Session

from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import ORIGINALS, ORPHAN_AGE_S, sweep


def sweep_files(engine: Engine, *, files: Path, min_age_s: float = ORPHAN_AGE_S) -> int:
    """Remove temporary files and orphans older than `min_age_s`; how many files went.

    An upload that was killed before its commit leaves a file without a row; a discarded draft
    leaves a row that nothing refers to.
    """
    with write_session(engine) as session:
        _forget_unused_rows(session)

    def unreferenced(kind: str, digests: Sequence[str]) -> set[str]:
        key = t.StoredFileRow.sha256 if kind == ORIGINALS else t.RecordingRow.sha256
        with read_session(engine) as session:
            known = set(session.execute(select(key).where(key.in_(digests))).scalars())
        return set(digests) - known

    return sweep(files, unreferenced=unreferenced, min_age_s=min_age_s)


def _forget_unused_rows(session: Session) -> None:
    of_run = exists().where(t.RunRevisionRow.file_sha256 == t.StoredFileRow.sha256)
    of_draft = exists().where(t.DraftRow.file_sha256 == t.StoredFileRow.sha256)
    photo, key = t.PhotoRow, t.StoredFileRow.sha256
    of_photo = [
        exists().where(column == key)
        for column in (photo.sent_sha256, photo.file_sha256, photo.small_sha256)
    ]
    unused = [~of_run, ~of_draft, *(~one for one in of_photo)]
    session.execute(delete(t.StoredFileRow).where(*unused))
