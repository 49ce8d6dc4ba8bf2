"""Routes that follow a figure down: to its budget and readings, and to the lines of the file."""

from pathlib import Path
from typing import Annotated

from fastapi import APIRouter, Query, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.read_run_claims import read_run_claims
from server.actions.view_run import view_run
from server.dependencies import ReadSession, Viewer
from server.errors import NotFound
from server.model.views import RunView
from server.pages.figure import MOST_BYTES_SHOWN, figure_page
from server.pages.request import site_of
from server.pages.templating import render
from server.settings import Settings
from server.store.file_rows import read_lines
from server.store.files import original_path

router = APIRouter()

Rows = Annotated[str | None, Query(pattern=r"^\d{1,9}-\d{1,9}$")]
_CHARSETS = {"cp1252": "windows-1252"}


def original_of(request: Request, view: RunView) -> Path:
    settings: Settings = request.app.state.settings
    return original_path(settings.files, view.file.sha256)


@router.get("/runs/{public_id}/figures/{name}")
def figure(
    request: Request, public_id: str, name: str, session: ReadSession, viewer: Viewer
) -> Response:
    view = view_run(session, public_id=public_id, viewer=viewer)
    page = figure_page(
        view,
        name=name,
        readings=read_run_claims(view),
        original=original_of(request, view),
    )
    return render(request, "figure.html", page, site=site_of(request, viewer))


@router.get("/runs/{public_id}/file")
def lines_of_file(
    request: Request, public_id: str, session: ReadSession, viewer: Viewer, rows: Rows = None
) -> Response:
    """Some lines of the file as it was sent, byte for byte, as plain text; without `rows` all."""
    view = view_run(session, public_id=public_id, viewer=viewer)
    path = original_of(request, view)
    if rows is None:
        return RedirectResponse(f"/api/v1/runs/{view.public_id}/file", status_code=302)
    first, last = (int(part) for part in rows.split("-"))
    found = None
    if path.is_file():
        found = read_lines(
            path, dialect=view.dialect, first_line=first, last_line=last, limit=MOST_BYTES_SHOWN
        )
    if found is None:
        raise NotFound(
            f"The file of run {view.public_id} has no such lines, or they are too many to show. "
            "The whole file can be had."
        )
    encoding = str(view.dialect.get("encoding") or "utf-8")
    name = f"run-{view.public_id}-lines-{first}-{last}.txt"
    headers = {
        "Content-Disposition": f'inline; filename="{name}"',
        "Cache-Control": "private, no-cache",
        "Vary": "Authorization, Cookie",
        # A browser must never take a sender's file for a page of ours.
        "X-Content-Type-Options": "nosniff",
        "Content-Security-Policy": "sandbox; default-src 'none'",
        "Content-Type": f"text/plain; charset={_CHARSETS.get(encoding, encoding)}",
    }
    return Response(found, headers=headers)
