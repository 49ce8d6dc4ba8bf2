"""Photographs of plate and rig: sent with a draft, covered where they tell too much, shown."""

from collections.abc import AsyncIterator
from dataclasses import dataclass
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import FileResponse, RedirectResponse, Response

from server.actions.keep_photo import SUBJECTS, cover_photo, keep_photo, remove_photo
from server.dependencies import Drafter, ReadSession, Viewer, WriteSession
from server.dependencies.resources import resources_of
from server.dependencies.threads import in_receiver, in_session
from server.dependencies.uploads import ArrivedFile, receive_upload
from server.errors import InvalidInput, NotFound, Problem
from server.model.people import PhotoState
from server.pages.drafting import Posted
from server.pages.photo_shapes import alt_of
from server.sign_in import FORM_FIELD, check_form, check_same_site
from server.store.drafts import draft_view
from server.store.files import StoredUpload, keep_upload, original_path
from server.store.photos import photo_view

router = APIRouter()
MOST_BYTES = 32 << 20
_STEP_OF = {"plate": "appliance", "rig": "rig"}


@dataclass(frozen=True, slots=True)
class SentPhoto:
    upload: StoredUpload
    subject: str


async def _sent_photo(request: Request, draft_id: str, tester: Drafter) -> AsyncIterator[SentPhoto]:
    """The posted photograph in its place, as it was sent."""
    check_same_site(request)
    resources = resources_of(request)
    files = resources.settings.files
    await in_session(resources, partial(draft_view, public_id=draft_id, tester=tester))
    async with receive_upload(
        request, files=files, limiter=resources.receivers, file_field="photo"
    ) as arrived:
        check_form(request, arrived.fields.get(FORM_FIELD))
        if arrived.file is None or arrived.file.n_bytes == 0:
            problem = Problem("No photograph came along.", "Choose one first.", field="photo")
            raise InvalidInput("the form", [problem])
        keep = partial(_keep, request, arrived.file)
        upload = await in_receiver(resources, keep)
        yield SentPhoto(upload, arrived.fields.get("subject", ""))


def _keep(request: Request, sent: ArrivedFile) -> StoredUpload:
    from server.intake.photo import check_photo_start

    with sent.path.open("rb") as file:
        check_photo_start(file.read(16), name=sent.name)
    files = resources_of(request).settings.files
    return keep_upload(files, sent.path, name=sent.name, sha256=sent.sha256, n_bytes=sent.n_bytes)


Photograph = Annotated[SentPhoto, Depends(_sent_photo, scope="function")]


@router.post("/send/{draft_id}/photos")
def add_photo(
    draft_id: str, tester: Drafter, photograph: Photograph, session: WriteSession
) -> Response:
    keep_photo(
        session,
        draft_id=draft_id,
        tester=tester,
        subject=photograph.subject,
        upload=photograph.upload,
    )
    return _back(draft_id, photograph.subject)


def _back(draft_id: str, subject: str) -> Response:
    step = _STEP_OF.get(subject, "appliance")
    return RedirectResponse(f"/send/{draft_id}/{step}#photos", status_code=303)


@router.post("/send/{draft_id}/photos/{photo_id}")
def change_photo(
    request: Request,
    draft_id: str,
    photo_id: str,
    tester: Drafter,
    posted: Posted,
    session: WriteSession,
) -> Response:
    """Cover a part of a photograph, or throw it away."""
    check_form(request, posted.get(FORM_FIELD))
    draft_view(session, public_id=draft_id, tester=tester)
    if posted.get("act") == "remove":
        remove_photo(session, photo_id=photo_id, tester=tester)
    else:
        cover = [_share(posted, name) for name in ("left", "top", "right", "bottom")]
        cover_photo(session, photo_id=photo_id, tester=tester, cover=cover)
    subject = posted.get("subject", "")
    return _back(draft_id, subject if subject in SUBJECTS else "plate")


def _share(posted: Posted, name: str) -> float:
    try:
        return float(posted.get(name, "").replace(",", ".")) / 100
    except ValueError as error:
        problem = Problem("this is no figure.", "Give it in percent, 0 to 100.", field=name)
        raise InvalidInput("photograph", [problem]) from error


@router.get("/photos/{photo_id}")
def show_photo(
    request: Request, session: ReadSession, viewer: Viewer, photo_id: str, size: str = ""
) -> Response:
    """A photograph as it was drawn anew here; `?size=small` for lists."""
    photo = photo_view(session, public_id=photo_id, viewer=viewer)
    sha256 = photo.small_sha256 if size == "small" else photo.file_sha256
    if sha256 is None or photo.state is PhotoState.REFUSED:
        raise NotFound(f"There is no photograph {photo_id}.")
    path = original_path(request.app.state.settings.files, sha256)
    kept = "no-cache" if photo.is_public else "private, no-store"
    return FileResponse(
        path,
        media_type="image/jpeg",
        filename=f"{alt_of(photo.subject).casefold().replace(' ', '-')}.jpg",
        content_disposition_type="inline",
        headers={"Cache-Control": kept},
    )
