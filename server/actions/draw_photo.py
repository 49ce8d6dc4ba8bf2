"""The worker's part with a photograph: draw it anew, forget what was sent."""

import hashlib
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.errors import BenchledgerError
from server.intake.photo import Cover, draw_photo
from server.model.people import PhotoState
from server.model.words import JobState
from server.store.database import insert_if_absent, read_session, write_session
from server.store.files import StoredUpload, incoming_path, keep_upload, original_path
from server.store.jobs import end_job, still_leased
from server.store.journal import now
from server.store.tables import PhotoRow, StoredFileRow


@dataclass(frozen=True, slots=True)
class _Wanted:
    path: Path
    covers: tuple[Cover, ...]


def draw_leased_photo(
    engine: Engine, *, job_id: int, worker: str, photo_id: int, files: Path
) -> None:
    """Draw a photograph anew and store it in a write of its own.

    One that can't be drawn is refused, with the reason; the job is done then. What was sent is not
    referred to any more either way, so that the sweep removes it with its place and camera.

    Raises
    ------
    Anything else that goes wrong; the caller gives the job back.
    """
    with read_session(engine) as session:
        wanted = _wanted(session, photo_id=photo_id, files=files)
    if wanted is None:
        _end(engine, job_id=job_id, worker=worker)
        return
    try:
        drawn = draw_photo(wanted.path, name="the photograph", covers=wanted.covers)
    except BenchledgerError as refusal:
        with write_session(engine) as session:
            job = still_leased(session, job_id=job_id, worker=worker)
            if job is not None:
                refuse_photo(session, photo_id=photo_id, reason=str(refusal))
                end_job(job, state=JobState.DONE)
        return
    jpeg, small = (_keep(files, one) for one in (drawn.jpeg, drawn.small))
    with write_session(engine) as session:
        job = still_leased(session, job_id=job_id, worker=worker)
        photo = session.get(PhotoRow, photo_id)
        if job is None or photo is None:
            return
        for one in (jpeg, small):
            values = {"sha256": one.sha256, "n_bytes": one.n_bytes, "created_at": now()}
            insert_if_absent(session, StoredFileRow, values, unique=("sha256",))
        photo.file_sha256, photo.small_sha256 = jpeg.sha256, small.sha256
        photo.width, photo.height = drawn.width, drawn.height
        photo.sent_sha256 = None
        photo.state = PhotoState.READY.value
        end_job(job, state=JobState.DONE)


def refuse_photo(session: Session, *, photo_id: int, reason: str) -> None:
    """Say why a photograph can't be shown, and forget its file."""
    photo = session.get(PhotoRow, photo_id)
    if photo is not None:
        photo.state, photo.failure = PhotoState.REFUSED.value, reason
        photo.sent_sha256 = photo.file_sha256 = photo.small_sha256 = None


def _wanted(session: Session, *, photo_id: int, files: Path) -> _Wanted | None:
    photo = session.get(PhotoRow, photo_id)
    if photo is None:
        return None
    sha256 = photo.sent_sha256 or photo.file_sha256
    if sha256 is None:
        return None
    covers = tuple((c[0], c[1], c[2], c[3]) for c in photo.choices.get("covers", []))
    return _Wanted(original_path(files, sha256), covers)


def _end(engine: Engine, *, job_id: int, worker: str) -> None:
    with write_session(engine) as session:
        job = still_leased(session, job_id=job_id, worker=worker)
        if job is not None:
            end_job(job, state=JobState.DONE)


def _keep(files: Path, content: bytes) -> StoredUpload:
    temporary = incoming_path(files)
    temporary.write_bytes(content)
    digest = hashlib.sha256(content).hexdigest()
    return keep_upload(files, temporary, name="photo.jpg", sha256=digest, n_bytes=len(content))
