"""Photographs of a plate or a rig: kept as sent until they are drawn anew, covered, thrown away."""

from collections.abc import Sequence

from sqlalchemy import delete, func, select, update
from sqlalchemy.orm import Session

from server.errors import Conflict, InvalidInput, NotFound, Problem
from server.intake.photo import Cover
from server.model.people import PhotoState
from server.model.views import Tester
from server.model.words import JobState
from server.store.database import insert_if_absent
from server.store.drafts import draft_row
from server.store.files import StoredUpload
from server.store.identity import new_public_id
from server.store.journal import now
from server.store.tables import DraftRow, JobRow, PhotoRow, RunRow, StoredFileRow

SUBJECTS = ("plate", "rig")
MAX_PHOTOS = 6
MAX_COVERS = 20
DRAW = "draw photo"


def keep_photo(
    session: Session, *, draft_id: str, tester: Tester, subject: str, upload: StoredUpload
) -> str:
    """Keep a photograph with a draft and ask the worker to draw it anew; its public id.

    Raises
    ------
    NotFound: no such draft of this tester. InvalidInput: a photograph of something else.
    Conflict: the draft has MAX_PHOTOS.
    """
    draft = draft_row(session, public_id=draft_id, tester=tester)
    if subject not in SUBJECTS:
        problem = Problem("of what?", f"Say one of {', '.join(SUBJECTS)}.", field="subject")
        raise InvalidInput("photograph", [problem])
    n = session.execute(
        select(func.count()).select_from(PhotoRow).where(PhotoRow.draft_id == draft.id)
    ).scalar_one()
    if n >= MAX_PHOTOS:
        raise Conflict(f"This draft has {n} photographs. Throw one away first.")
    stored = {"sha256": upload.sha256, "n_bytes": upload.n_bytes, "created_at": now()}
    insert_if_absent(session, StoredFileRow, stored, unique=("sha256",))
    photo = PhotoRow(
        public_id=new_public_id(),
        tester_id=tester.id,
        subject=subject,
        draft_id=draft.id,
        state=PhotoState.WORKING.value,
        sent_sha256=upload.sha256,
        choices={"covers": []},
        created_at=now(),
    )
    session.add(photo)
    session.flush()
    _ask_worker(session, photo)
    return photo.public_id


def cover_photo(session: Session, *, photo_id: str, tester: Tester, cover: Sequence[float]) -> None:
    """Paint a part of a photograph over, for good: the worker draws it anew from what is shown.

    Parameters
    ----------
    cover : left, top, right, bottom, as shares of width and height.

    Raises
    ------
    NotFound: no such photograph on a draft of this tester. Conflict: it is not ready, or has
    MAX_COVERS. InvalidInput: no rectangle within the picture.
    """
    photo = _own(session, photo_id, tester)
    if photo.state != PhotoState.READY:
        raise Conflict("This photograph is being drawn. Try again in a moment.")
    known = list(photo.choices.get("covers", []))
    if len(known) >= MAX_COVERS:
        raise Conflict(f"{MAX_COVERS} parts are covered already. Take a closer photograph.")
    left, top, right, bottom = _rectangle(cover)
    photo.choices = {"covers": [*known, [left, top, right, bottom]]}
    photo.state = PhotoState.WORKING.value
    _ask_worker(session, photo)


def _rectangle(cover: Sequence[float]) -> Cover:
    is_inside = len(cover) == 4 and all(0 <= one <= 1 for one in cover)
    if not is_inside or cover[0] >= cover[2] or cover[1] >= cover[3]:
        problem = Problem(
            "this is no part of the picture.",
            "Give left, top, right and bottom in percent, left before right, top before bottom.",
            field="cover",
        )
        raise InvalidInput("photograph", [problem])
    return cover[0], cover[1], cover[2], cover[3]


def remove_photo(session: Session, *, photo_id: str, tester: Tester) -> None:
    """Throw a photograph of one's draft away. Its files are swept. Raises NotFound."""
    photo = _own(session, photo_id, tester)
    session.execute(delete(JobRow).where(JobRow.photo_id == photo.id))
    session.delete(photo)


def remove_loose_photos(session: Session) -> int:
    """Remove photographs whose draft is gone and that no run shows; how many."""
    loose = (PhotoRow.draft_id.is_(None), PhotoRow.run_id.is_(None))
    photos = select(PhotoRow.id).where(*loose)
    session.execute(delete(JobRow).where(JobRow.photo_id.in_(photos)))
    gone = session.execute(delete(PhotoRow).where(*loose).returning(PhotoRow.id))
    return len(gone.all())


def hand_over_photos(session: Session, *, draft: DraftRow, run_id: str) -> None:
    """What was photographed for a draft belongs to the run (public id) that it became."""
    run = select(RunRow.id).where(RunRow.public_id == run_id).scalar_subquery()
    session.execute(
        update(PhotoRow).where(PhotoRow.draft_id == draft.id).values(run_id=run, draft_id=None)
    )


def _own(session: Session, photo_id: str, tester: Tester) -> PhotoRow:
    photo = session.execute(
        select(PhotoRow)
        .where(
            PhotoRow.public_id == photo_id,
            PhotoRow.tester_id == tester.id,
            PhotoRow.draft_id.is_not(None),
        )
        .with_for_update(key_share=True)
    ).scalar_one_or_none()
    if photo is None:
        raise NotFound(f"There is no photograph {photo_id} on a draft of yours.")
    return photo


def _ask_worker(session: Session, photo: PhotoRow) -> None:
    at = now()
    session.add(
        JobRow(
            act=DRAW,
            photo_id=photo.id,
            state=JobState.QUEUED.value,
            tries=0,
            created_at=at,
            updated_at=at,
        )
    )
