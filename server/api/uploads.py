"""Large files in pieces: begun, asked about, continued; whole, a draft or the log of a run."""

from typing import Annotated

from fastapi import Path, Request, Response
from fastapi.responses import JSONResponse
from pydantic import BaseModel, ConfigDict, Field

from server.actions.save_draft import save_draft
from server.actions.upload_in_pieces import (
    PartialUpload,
    begin_upload,
    end_upload,
    upload_state,
    uploads_under_way,
)
from server.api.openapi import api_router, needs_token, refusals
from server.api.shapes import IdWord, ListOut
from server.dependencies import ReadSession, Writer, WriteSession
from server.dependencies.pieces import PIECE_BYTES, FinishedUpload, Piece, upload_headers
from server.store.partial_files import remove_partial

router = api_router("/uploads", tags=["uploads"])
UploadId = Annotated[IdWord, Path(description="Of the upload")]


class UploadIn(BaseModel):
    """What will come."""

    model_config = ConfigDict(extra="forbid")
    file_name: str = Field(min_length=1, max_length=200, examples=["run.csv"])
    n_bytes: int = Field(ge=1, le=2**53, description="Of the whole file", examples=[73400320])
    for_run: bool = Field(
        False,
        description="It waits for `POST /runs`, which names its id as the part `upload`; else it "
        "becomes a draft with its last piece",
    )


class UploadOut(BaseModel):
    """An upload: under way, whole, or with its last piece the draft that it became."""

    id: str
    file_name: str
    n_bytes: int
    n_received: int = Field(description="Safe on the server: the next piece begins here")
    piece_bytes: int = Field(description="The most that one piece may have")
    draft: str | None = Field(None, description="Address of the draft's pages, once complete")


def _shown(upload: PartialUpload, draft: str | None = None) -> UploadOut:
    return UploadOut(
        id=upload.public_id,
        file_name=upload.file_name,
        n_bytes=upload.n_bytes,
        n_received=upload.n_received,
        piece_bytes=PIECE_BYTES,
        draft=draft,
    )


@router.post(
    "",
    status_code=201,
    response_model=UploadOut,
    responses=refusals(400, 401, 403, 409, 413, 422),
    openapi_extra=needs_token(),
)
def start_upload(
    request: Request, response: Response, tester: Writer, session: WriteSession, sent: UploadIn
) -> UploadOut:
    """Begin a file that comes in pieces; `Location` is where they go."""
    upload = begin_upload(
        session,
        tester=tester,
        file_name=sent.file_name,
        n_bytes=sent.n_bytes,
        max_bytes=request.app.state.settings.max_upload_bytes,
        is_for_run=sent.for_run,
    )
    response.headers["Location"] = f"/api/v1/uploads/{upload.public_id}"
    response.headers.update(upload_headers(upload))
    return _shown(upload)


@router.get(
    "",
    response_model=ListOut[UploadOut],
    responses=refusals(401, 403),
    openapi_extra=needs_token(),
)
def list_uploads(tester: Writer, session: ReadSession) -> ListOut[UploadOut]:
    """Your uploads under way, the newest first: to go on with, or to give up."""
    found = uploads_under_way(session, tester=tester)
    return ListOut[UploadOut](items=[_shown(one) for one in found])


@router.get(
    "/{upload_id}",
    response_model=UploadOut,
    responses=refusals(401, 403, 404),
    openapi_extra=needs_token(),
)
def read_upload(
    response: Response, tester: Writer, session: ReadSession, upload_id: UploadId
) -> UploadOut:
    """Where an upload stands, in `Upload-Offset` too, so that HEAD is enough."""
    upload = upload_state(session, public_id=upload_id, tester=tester)
    response.headers.update(upload_headers(upload))
    return _shown(upload)


_PIECE = {
    **needs_token(),
    "requestBody": {
        "required": True,
        "description": "The bytes from `Upload-Offset` on.",
        "content": {"application/partial-upload": {"schema": {"type": "string"}}},
    },
}


@router.patch(
    "/{upload_id}",
    response_model=UploadOut,
    responses={
        **refusals(400, 401, 403, 404, 409, 413, 422),
        201: {"model": UploadOut, "description": "The last piece: the file is a draft now."},
    },
    openapi_extra=_PIECE,
)
def continue_upload(
    upload_id: UploadId, tester: Writer, piece: Piece, kept: FinishedUpload, session: WriteSession
) -> Response:
    """Take the piece that begins at `Upload-Offset`. It is safe once this answers."""
    headers = upload_headers(piece)
    if kept is None:
        return JSONResponse(_shown(piece).model_dump(), headers=headers)
    end_upload(session, public_id=upload_id, tester=tester)
    form = {"file.n_lines": str(kept.n_lines), **kept.form}
    draft = save_draft(session, tester=tester, form=form, upload=kept.upload)
    address = f"/send/{draft.public_id}/columns"
    headers["Location"] = address
    return JSONResponse(_shown(piece, address).model_dump(), status_code=201, headers=headers)


@router.delete(
    "/{upload_id}",
    status_code=204,
    responses=refusals(401, 403, 404),
    openapi_extra=needs_token(),
)
def give_up_upload(
    request: Request, tester: Writer, session: WriteSession, upload_id: UploadId
) -> None:
    """Give an upload up; what arrived of it is removed."""
    end_upload(session, public_id=upload_id, tester=tester)
    remove_partial(request.app.state.settings.files, [upload_id])
