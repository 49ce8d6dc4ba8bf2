"""Recordings are kept behind the answers; until then, and where one is lost, the log gives it."""

from collections.abc import Iterator
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import Engine, select

from server.actions.prepare_run import key_of_recording
from server.actions.reduce_log import read_described_log
from server.errors import BenchledgerError, NotFound
from server.intake import ReadLimits, load_recording, write_recording
from server.model.recording import Recording
from server.store.database import read_session
from server.store.files import incoming_path, keep, recording_path
from server.store.journal import now
from server.store.sent_logs import SentLog, log_of_recording
from server.store.tables import RecordingRow

# A younger one is about to be written by the process that read it.
YOUNG = timedelta(minutes=1)
# What was taken in under larger limits can be read for ever.
_ANY_SIZE = ReadLimits(max_bytes=2**63, max_rows=2**63, max_columns=2**31)


def keep_recording(recording: Recording, *, sha256: str, files: Path) -> Path:
    """Write a recording to its place under its key, durably; gives the place.

    The row that names it is committed before, so that no sweep takes it for a leftover.
    """
    place = recording_path(files, sha256)
    if place.is_file():
        return place
    temporary = incoming_path(files)
    write_recording(recording, temporary)
    keep(files, temporary, place)
    return place


def stored_recording(sha256: str, *, log: SentLog, files: Path) -> Recording:
    """A recording as it was kept; where it is not, as its log gives it.

    Raises
    ------
    NotFound: it is not kept, and the log can't be read as it was.
    """
    place = recording_path(files, sha256)
    return load_recording(place) if place.is_file() else recording_again(sha256, log=log)


def recording_again(sha256: str, *, log: SentLog) -> Recording:
    """Read a log as it was read for this recording.

    Raises
    ------
    NotFound: the file is missing, or reads otherwise today.
    """

    def refused(why: str) -> NotFound:
        return NotFound(
            f"The recording {sha256} is not kept and can't be made from its file"
            f" {log.file_sha256}: {why} Put both back from a backup."
        )

    try:
        read = read_described_log(
            log.path, file_name=log.file_name, bench=log.bench, limits=_ANY_SIZE
        )
    except FileNotFoundError as error:
        raise refused("that is missing.") from error
    except BenchledgerError as error:
        raise refused(str(error)) from error
    if key_of_recording(read.recording) != sha256:
        raise refused("that reads otherwise today.")
    return read.recording


def keep_missing(
    engine: Engine, *, files: Path, since: datetime | None = None, min_age: timedelta = YOUNG
) -> Iterator[str]:
    """Make the recordings that rows name and no file holds, from their logs.

    A process that ended between its answer and the end of its writing left one.

    Parameters
    ----------
    since : when this was last done; what was missing then and could not be made is left alone.

    Yields
    ------
    What was done for each, in words: it was made, or why it can't be.
    """
    row = RecordingRow
    query = select(row.sha256).where(row.created_at <= now() - min_age)
    if since is not None:
        query = query.where(row.created_at > since - min_age)
    with read_session(engine) as session:
        keys = session.execute(query).scalars().all()
    for sha256 in keys:
        if recording_path(files, sha256).is_file():
            continue
        with read_session(engine) as session:
            log = log_of_recording(session, sha256=sha256, files=files)
        if log is None:  # its run was erased meanwhile
            continue
        try:
            keep_recording(recording_again(sha256, log=log), sha256=sha256, files=files)
        except (NotFound, OSError) as refusal:
            yield str(refusal)
        else:
            yield f"The recording {sha256} was made anew from its file."
