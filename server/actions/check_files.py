"""Check the stored files: each is what its row says, and each belongs to a row."""

import hashlib
import re
import time
from collections.abc import Iterator, Sequence
from pathlib import Path

from sqlalchemy import Engine, func, select
from sqlalchemy.orm import Session

from server.actions.keep_recording import recording_again
from server.actions.prepare_run import recording_key
from server.errors import InvalidSignal, NotFound
from server.intake import digest_stored
from server.model.checking import Fault, Note, OnDone, OnStep, Part
from server.model.checking import ignore_done as _ignore_done
from server.model.checking import ignore_step as _ignore_step
from server.store.database import read_session
from server.store.files import (
    INCOMING,
    ORIGINALS,
    ORPHAN_AGE_S,
    RECORDINGS,
    original_path,
    recording_path,
)
from server.store.sent_logs import log_of_recording
from server.store.tables import RecordingRow, StoredFileRow

ROWS_AT_ONCE = 500
_NAME = re.compile(r"([0-9a-f]{64})(\.parquet)?")
RESTORE = "Put it back from a backup, then check again."


def check_files(
    session: Session,
    engine: Engine,
    *,
    files: Path,
    orphan_age_s: float = ORPHAN_AGE_S,
    on_step: OnStep = _ignore_step,
    on_done: OnDone = _ignore_done,
) -> Iterator[Fault | Note]:
    """Read every stored file and compare size and SHA-256; look for files without a row.

    Parameters
    ----------
    session : its reads see the rows at one moment.
    engine : for a second look at what changed meanwhile; the service may be running.
    files : folder of the stored files.
    orphan_age_s : a file without a row is on its way until it is this old.
    on_step, on_done : told how many files the rows name, and of those that were read.

    Yields
    ------
    A Fault for each file that is missing, altered, or that no row refers to. A recording that is
    not kept is none where its original gives it.

    Notes
    -----
    Originals are read in blocks, recordings a column at a time, so memory does not grow with them.
    """
    n = sum(
        session.execute(select(func.count()).select_from(table)).scalar_one()
        for table in (StoredFileRow, RecordingRow)
    )
    on_step(Part.FILES, n)
    for row in session.execute(select(StoredFileRow)).yield_per(ROWS_AT_ONCE).scalars():
        fault = _check_original(original_path(files, row.sha256), row)
        if fault is not None and _is_still_there(engine, StoredFileRow, row.sha256):
            yield fault
        on_done(1)
    n_unkept = 0
    for kept in session.execute(select(RecordingRow)).yield_per(ROWS_AT_ONCE).scalars():
        path = recording_path(files, kept.sha256)
        if path.is_file():
            fault = _check_recording(path, kept)
        else:
            fault = _check_unkept(session, files, kept)
            n_unkept += fault is None
        if fault is not None and _is_still_there(engine, RecordingRow, kept.sha256):
            yield fault
        on_done(1)
    if n_unkept:
        yield Note(
            Part.FILES, f"Recordings not written yet, which their originals give: {n_unkept}."
        )
    yield from _orphans(engine, files, orphan_age_s)


def _check_original(path: Path, row: StoredFileRow) -> Fault | None:
    place = f"stored file {row.sha256}"
    try:
        n_bytes = path.stat().st_size
    except FileNotFoundError:
        return _fault(place, "the file is missing.")
    if n_bytes != row.n_bytes:
        return _fault(place, f"it has {n_bytes} bytes; {row.n_bytes} were sent.")
    with path.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    return None if digest == row.sha256 else _fault(place, "it is not the file that was sent.")


def _check_recording(path: Path, row: RecordingRow) -> Fault | None:
    place = f"recording {row.sha256}"
    try:
        digest, notes, n_rows = digest_stored(path)
    except InvalidSignal as error:
        return _fault(place, f"{error}.")
    if n_rows != row.n_rows:
        return _fault(place, f"it has {n_rows} rows; {row.n_rows} were stored.")
    if recording_key(digest, notes=notes) != row.sha256:
        return _fault(place, "its readings are not those that were stored.")
    return None


def _check_unkept(session: Session, files: Path, row: RecordingRow) -> Fault | None:
    log = log_of_recording(session, sha256=row.sha256, files=files)
    if log is None:
        return _fault(f"recording {row.sha256}", "no run refers to it.")
    try:
        recording_again(row.sha256, log=log)
    except NotFound as error:
        return Fault(Part.FILES, f"recording {row.sha256}", str(error), "Then check again.")
    return None


def _is_still_there(
    engine: Engine, table: type[StoredFileRow] | type[RecordingRow], sha256: str
) -> bool:
    """Whether the row is there now: one that was swept meanwhile took its file along."""
    with read_session(engine) as session:
        return session.get(table, sha256) is not None


def _orphans(engine: Engine, files: Path, age_s: float) -> Iterator[Fault | Note]:
    now = time.time()
    n_young = 0
    for path in sorted((files / INCOMING).glob("*")):
        if _age(path, now) > age_s:
            yield _orphan(path, files)
        else:
            n_young += 1
    for kind in (ORIGINALS, RECORDINGS):
        for folder in sorted((files / kind).glob("*")):
            paths = sorted(folder.glob("*"))
            for at in range(0, len(paths), ROWS_AT_ONCE):
                for path in _without_row(engine, kind, paths[at : at + ROWS_AT_ONCE]):
                    if _age(path, now) > age_s:
                        yield _orphan(path, files)
                    else:
                        n_young += 1
    if n_young:
        yield Note(Part.FILES, f"{n_young} files are on their way, or left for the next sweep.")


def _without_row(engine: Engine, kind: str, paths: Sequence[Path]) -> list[Path]:
    names = {path: match[1] for path in paths if (match := _NAME.fullmatch(path.name))}
    key = StoredFileRow.sha256 if kind == ORIGINALS else RecordingRow.sha256
    with read_session(engine) as session:
        known = set(session.execute(select(key).where(key.in_(names.values()))).scalars())
    return [path for path in paths if names.get(path) not in known]


def _age(path: Path, now: float) -> float:
    try:
        return now - path.stat().st_mtime
    except FileNotFoundError:  # renamed or swept meanwhile
        return 0.0


def _orphan(path: Path, files: Path) -> Fault:
    return Fault(
        Part.FILES,
        f"file {path.relative_to(files).as_posix()}",
        "nothing in the database refers to it.",
        "The worker removes such files within minutes; where it stays, remove it by hand.",
    )


def _fault(place: str, message: str) -> Fault:
    return Fault(Part.FILES, place, message, RESTORE)
