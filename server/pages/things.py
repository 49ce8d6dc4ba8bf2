"""Routes of the pages of one thing: an appliance, a run."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.pool_appliance import pool_appliance
from server.actions.read_run_claims import read_run_claims
from server.actions.view_run import view_run
from server.actions.withdraw_run import withdraw_run
from server.dependencies import ReadSession, Viewer, Writer, WriteSession
from server.errors import NotFound
from server.model.bench import ClaimReading
from server.model.views import RunView
from server.pages.appliance import appliance_page, appliance_path
from server.pages.appliance_people import appliance_people
from server.pages.photo_shapes import show_photo
from server.pages.request import site_of
from server.pages.revisions import published_revision
from server.pages.run import run_page
from server.pages.run_people import run_people
from server.pages.templating import render
from server.sign_in import check_form
from server.store.appliances import appliance_view
from server.store.photos import photos_of_run
from server.store.versions import run_versions

router = APIRouter()


def public_id_of(address: str) -> str:
    """The id at the head of "4k7p2m9xq1-millbeck-wd-30"; what follows is for people."""
    return address.partition("-")[0]


def readings_of(view: RunView | None) -> tuple[ClaimReading, ...]:
    return () if view is None else read_run_claims(view)


@router.get("/appliances/{address}")
def appliance(request: Request, address: str, session: ReadSession, viewer: Viewer) -> Response:
    view = appliance_view(session, public_id=public_id_of(address), viewer=viewer)
    path = appliance_path(view)
    if request.url.path != path:
        return RedirectResponse(path, status_code=301)
    pooled = pool_appliance(session, public_id=view.appliance.public_id)
    people = appliance_people(session, view=view, viewer=viewer)
    page = appliance_page(view, readings=readings_of(view.best), pooled=pooled, people=people)
    return render(request, "appliance.html", page, site=site_of(request, viewer))


@router.get("/runs/{public_id}")
def run(request: Request, public_id: str, session: ReadSession, viewer: Viewer) -> Response:
    try:
        view = view_run(session, public_id=public_id, viewer=viewer)
    except NotFound:  # it may be under correction: what was published of it last stands still
        return published_revision(session, public_id=public_id, viewer=viewer)
    photos = tuple(show_photo(one) for one in photos_of_run(session, run_id=public_id))
    versions = run_versions(session, public_id=public_id, viewer=viewer)
    page = run_page(
        view,
        readings=readings_of(view),
        viewer=viewer,
        versions=versions,
        people=run_people(session, view=view, viewer=viewer),
        photos=photos,
    )
    return render(request, "run.html", page, site=site_of(request, viewer))


@router.post("/runs/{public_id}/withdraw")
def withdraw(
    request: Request,
    public_id: str,
    session: WriteSession,
    tester: Writer,
    note: Annotated[str, Form()] = "",
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    withdraw_run(session, public_id=public_id, tester=tester, note=note.strip())
    return RedirectResponse(f"/runs/{public_id}", status_code=303)
