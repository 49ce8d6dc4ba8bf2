"""Where sending a run begins: a file is taken by whoever comes, and kept as a draft."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import JSONResponse, RedirectResponse, Response

from server.actions.save_draft import save_draft
from server.dependencies import ReadSession, Viewer, WriteSession
from server.dependencies.keeping import KeptUpload
from server.dependencies.limits import Limited
from server.model.views import Tester
from server.pages.drafting import LINES
from server.pages.request import site_of
from server.pages.send_file import KeptFile
from server.pages.send_pages import send_page
from server.pages.templating import render
from server.sign_in import form_token, start_visit
from server.store.drafts import list_drafts
from server.store.people import tester_for_session
from server.store.rigs import last_columns, list_rigs

router = APIRouter()
# How many of the newest rigs are asked whether they know a file's headers.
_MOST_RIGS = 5


@router.get("/send")
def start(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    drafts = list_drafts(session, tester=viewer) if viewer is not None else ()
    page = send_page(
        is_signed_in=viewer is not None and not viewer.is_visitor,
        drafts=drafts,
        max_bytes=request.app.state.settings.max_upload_bytes,
    )
    return render(request, "send.html", page, site=site_of(request, viewer))


@router.post("/send", dependencies=[Limited("trial")])
def receive(request: Request, viewer: Viewer, kept: KeptFile, session: WriteSession) -> Response:
    """Keep a file as a draft. Who has no account gets a private place for a day."""
    sender = sender_of(request, session, viewer=viewer)
    return keep_draft(request, session, sender=sender, kept=kept)


@dataclass(frozen=True, slots=True)
class Sender:
    """Who sends. `carrier` holds the cookie of a visit that begins here, `key` its session's."""

    tester: Tester
    carrier: Response
    key: str | None = None


def sender_of(request: Request, session: WriteSession, *, viewer: Tester | None) -> Sender:
    """The viewer, or a private place for a day for somebody without an account."""
    carrier = Response()
    if viewer is not None:
        return Sender(viewer, carrier)
    key = start_visit(request, carrier, session)
    visitor = tester_for_session(session, key=key)
    assert visitor is not None  # it has just been made in this transaction
    return Sender(visitor, carrier, key)


def keep_draft(
    request: Request, session: WriteSession, *, sender: Sender, kept: KeptUpload
) -> Response:
    """Keep a file that has arrived as a draft, and lead to its columns.

    A script that asks for JSON is told the address instead, and what its next form needs.
    """
    form = {
        LINES: str(kept.n_lines),
        **kept.form,
        **known_rig(session, tester=sender.tester, headers=kept.headers),
    }
    draft = save_draft(session, tester=sender.tester, form=form, upload=kept.upload)
    address = f"/send/{draft.public_id}/columns"
    if "application/json" not in request.headers.get("accept", ""):
        return with_cookie(RedirectResponse(address, status_code=303), sender)
    told = {"location": address, "csrf_token": form_token(sender.key) if sender.key else None}
    return with_cookie(JSONResponse(told, 201, headers={"Location": address}), sender)


def with_cookie(response: Response, sender: Sender) -> Response:
    for value in sender.carrier.headers.getlist("set-cookie"):
        response.headers.append("set-cookie", value)
    return response


def known_rig(session: ReadSession, *, tester: Tester, headers: Sequence[str]) -> dict[str, str]:
    """The tester's rig that wrote such a file before, picked from the start."""
    for rig in list_rigs(session, tester=tester)[:_MOST_RIGS]:
        choices = last_columns(session, public_id=rig.public_id)
        if choices and sorted(choice.header for choice in choices) == sorted(headers):
            return {"pick.rig": rig.public_id}
    return {}


@router.get("/send/{draft_id}")
def resume(draft_id: str) -> Response:
    return RedirectResponse(f"/send/{draft_id}/columns", status_code=303)
