"""A file that comes in pieces: begun, continued after an interruption, finished or given up."""

from dataclasses import dataclass
from datetime import timedelta
from pathlib import Path

from sqlalchemy import delete, func, select
from sqlalchemy.orm import Session

from server.errors import Conflict, InvalidInput, NotFound, Problem, TooLarge
from server.model.views import Tester
from server.store.files import bare_name
from server.store.identity import new_public_id
from server.store.journal import now
from server.store.partial_files import old_partial_ids, remove_partial
from server.store.tables import PartialUploadRow

KEPT_HOURS = 24.0
MAX_UPLOADS = 20


@dataclass(frozen=True, slots=True)
class PartialUpload:
    """Where an upload stands: so many bytes of the whole have arrived and are safe.

    `file_sha256`: of the file it has become, once a run took it.
    """

    public_id: str
    file_name: str
    n_bytes: int
    n_received: int
    is_for_run: bool = False
    file_sha256: str | None = None

    @property
    def is_complete(self) -> bool:
        return self.n_received == self.n_bytes


def begin_upload(
    session: Session,
    *,
    tester: Tester,
    file_name: str,
    n_bytes: int,
    max_bytes: int,
    is_for_run: bool = False,
) -> PartialUpload:
    """Make room for a file that will come in pieces.

    Parameters
    ----------
    n_bytes : of the whole file. max_bytes : of any file, by the settings.
    is_for_run : once whole it waits until a run takes it (`take_upload`); else it is a draft then.

    Raises
    ------
    InvalidInput: the file has no bytes. TooLarge: over the limit.
    Conflict: MAX_UPLOADS are under way already.
    """
    if n_bytes < 1:
        problem = Problem("the file is empty.", "Send a log with readings.", field="n_bytes")
        raise InvalidInput("upload", [problem])
    if n_bytes > max_bytes:
        raise TooLarge(
            f"{file_name} has {n_bytes:,} bytes; the limit is {max_bytes:,} "
            "(BENCHLEDGER_MAX_UPLOAD_BYTES). Thin it out or split it."
        )
    row = PartialUploadRow
    n = session.execute(
        select(func.count())
        .select_from(row)
        .where(row.tester_id == tester.id, row.file_sha256.is_(None))
    ).scalar_one()
    if n >= MAX_UPLOADS:
        raise Conflict(
            f"You have {n} uploads under way (GET /api/v1/uploads). Finish or give up some."
        )
    at = now()
    made = PartialUploadRow(
        public_id=new_public_id(),
        tester_id=tester.id,
        file_name=bare_name(file_name),
        n_bytes=n_bytes,
        n_received=0,
        is_for_run=is_for_run,
        created_at=at,
        updated_at=at,
    )
    session.add(made)
    session.flush()
    return _view(made)


def uploads_under_way(session: Session, *, tester: Tester) -> tuple[PartialUpload, ...]:
    """One's own uploads that no run has taken, the newest first; MAX_UPLOADS at most."""
    row = PartialUploadRow
    found = session.execute(
        select(row)
        .where(row.tester_id == tester.id, row.file_sha256.is_(None))
        .order_by(row.id.desc())
    ).scalars()
    return tuple(_view(one) for one in found)


def upload_state(session: Session, *, public_id: str, tester: Tester) -> PartialUpload:
    """Where one's own upload stands. Raises NotFound, for another's too."""
    return _view(_row(session, public_id, tester))


def take_piece(
    session: Session, *, public_id: str, tester: Tester, offset: int, n_bytes: int
) -> PartialUpload:
    """Acknowledge a piece whose bytes are on the disk already.

    Raises
    ------
    NotFound: no such upload of this tester. Conflict: it does not stand at `offset`.
    """
    row = _row(session, public_id, tester)
    check_offset(_view(row), offset)
    row.n_received = offset + n_bytes
    row.updated_at = now()
    session.flush()
    return _view(row)


def check_offset(upload: PartialUpload, offset: int) -> None:
    """Raises Conflict where a piece does not begin where the last one ended."""
    if offset != upload.n_received:
        raise Conflict(
            f"This upload stands at {upload.n_received} of {upload.n_bytes} bytes, not at "
            f"{offset}. Go on from there."
        )


def whole_upload(session: Session, *, public_id: str, tester: Tester) -> PartialUpload:
    """One's own upload that has arrived whole for a run.

    Raises
    ------
    NotFound: no such upload of this tester. Conflict: it is not whole, or is to be a draft.
    """
    upload = upload_state(session, public_id=public_id, tester=tester)
    if not upload.is_complete:
        raise Conflict(
            f"This upload stands at {upload.n_received} of {upload.n_bytes} bytes. Send the rest."
        )
    if not upload.is_for_run:
        raise Conflict("This upload becomes a draft. Begin one with “for_run” to send it as a run.")
    return upload


def take_upload(
    session: Session, *, public_id: str, tester: Tester, sha256: str, is_new: bool
) -> None:
    """Note that a run took an upload. Its file is the caller's to remove after.

    Parameters
    ----------
    sha256 : of the file. is_new : whether the run is stored just now.

    Raises
    ------
    Conflict: another run has taken it. NotFound: no such upload of this tester.
    """
    row = _row(session, public_id, tester)
    if row.file_sha256 is not None and is_new:
        raise Conflict("This upload became a run already. Begin another for the next one.")
    row.file_sha256 = sha256
    row.updated_at = now()  # it is remembered from now on


def end_upload(session: Session, *, public_id: str, tester: Tester) -> None:
    """Forget an upload: it is finished or given up. Its file is the caller's to remove after.

    Raises
    ------
    NotFound: no such upload of this tester.
    """
    session.delete(_row(session, public_id, tester))


def sweep_uploads(session: Session, *, files: Path) -> int:
    """Give up what nobody went on with for KEPT_HOURS; how many."""
    row = PartialUploadRow
    old = now() - timedelta(hours=KEPT_HOURS)
    gone = session.execute(delete(row).where(row.updated_at < old).returning(row.public_id))
    ids = list(gone.scalars())
    left = old_partial_ids(files, min_age_s=KEPT_HOURS * 3600)
    known = set(session.execute(select(row.public_id).where(row.public_id.in_(left))).scalars())
    remove_partial(files, [*ids, *(one for one in left if one not in known)])
    return len(ids)


def _row(session: Session, public_id: str, tester: Tester) -> PartialUploadRow:
    found = session.execute(
        select(PartialUploadRow)
        .where(PartialUploadRow.public_id == public_id, PartialUploadRow.tester_id == tester.id)
        .with_for_update()
    ).scalar_one_or_none()
    if found is None:
        raise NotFound(f"There is no upload {public_id}. Begin again.")
    return found


def _view(row: PartialUploadRow) -> PartialUpload:
    return PartialUpload(
        public_id=row.public_id,
        file_name=row.file_name,
        n_bytes=row.n_bytes,
        n_received=row.n_received,
        is_for_run=row.is_for_run,
        file_sha256=row.file_sha256,
    )
