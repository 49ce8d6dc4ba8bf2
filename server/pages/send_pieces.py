"""A large file of the page in pieces: it goes on after a broken connection or a reload."""

from typing import Annotated

from fastapi import APIRouter, Depends, Form, Request
from fastapi.responses import JSONResponse, Response

from server.actions.upload_in_pieces import begin_upload, end_upload, upload_state
from server.dependencies import Drafter, ReadSession, Viewer, WriteSession
from server.dependencies.limits import Limited
from server.dependencies.pieces import PIECE_BYTES, FinishedUpload, Piece, upload_headers
from server.pages.send import Sender, keep_draft, sender_of, with_cookie
from server.sign_in import check_form, check_same_site, form_token

router = APIRouter()


@router.post("/send/pieces", dependencies=[Limited("trial")])
def begin(
    request: Request,
    viewer: Viewer,
    session: WriteSession,
    file_name: Annotated[str, Form(max_length=300)],
    n_bytes: Annotated[int, Form()],
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_same_site(request)
    if viewer is not None:
        check_form(request, csrf_token)
    sender = sender_of(request, session, viewer=viewer)
    upload = begin_upload(
        session,
        tester=sender.tester,
        file_name=file_name,
        n_bytes=n_bytes,
        max_bytes=request.app.state.settings.max_upload_bytes,
    )
    address = f"/send/pieces/{upload.public_id}"
    told = {
        "location": address,
        "piece_bytes": PIECE_BYTES // 4,
        "csrf_token": form_token(sender.key) if sender.key else None,
    }
    headers = {"Location": address, **upload_headers(upload)}
    return with_cookie(JSONResponse(told, 201, headers=headers), sender)


@router.get("/send/pieces/{upload_id}")
def where(session: ReadSession, tester: Drafter, upload_id: str) -> Response:
    upload = upload_state(session, public_id=upload_id, tester=tester)
    return Response(headers=upload_headers(upload))


# A browser sends PATCH to another site only where that site allows it, and this one does not; so a
# request from our own page is proof enough here.
@router.patch("/send/pieces/{upload_id}", dependencies=[Depends(check_same_site)])
def go_on(
    request: Request,
    upload_id: str,
    tester: Drafter,
    piece: Piece,
    kept: FinishedUpload,
    session: WriteSession,
) -> Response:
    """Take the next piece; with the last one the file becomes a draft."""
    if kept is None:
        return Response(status_code=204, headers=upload_headers(piece))
    end_upload(session, public_id=upload_id, tester=tester)
    response = keep_draft(request, session, sender=Sender(tester, Response()), kept=kept)
    response.headers.update(upload_headers(piece))
    return response
