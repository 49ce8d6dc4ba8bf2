"""Routes of the pages that are read: front, catalogue, methods, safety, licence of the data."""

from typing import Any
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.dependencies import ReadSession, Viewer
from server.model.words import RunState
from server.pages.catalogue import catalogue_page
from server.pages.catalogue_filter import read_filter, read_form
from server.pages.front import N_ROWS, N_RUNS, front_page
from server.pages.methods import api_page, method_page, methods_page
from server.pages.place_rows import read_places
from server.pages.prose import DATA_LICENCE, PRIVACY, SAFETY
from server.pages.request import site_of
from server.pages.templating import render
from server.store.catalogue import categories, category_words, front_rows, list_catalogue
from server.store.runs import list_runs

router = APIRouter()


@router.get("/")
def front(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    page = front_page(
        rows=front_rows(session, n=N_ROWS),
        runs=list_runs(session, state=RunState.PUBLISHED, limit=N_RUNS).items,
        categories=categories(session),
    )
    return render(request, "front.html", page, site=site_of(request, viewer))


@router.get("/appliances")
def catalogue(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    """The catalogue. A form sends its empty fields too: they are taken out of the address first."""
    query: dict[str, Any] = dict(request.query_params)
    kept = {name: word for name, word in query.items() if word.strip()}
    if kept.get("printed_in") and not (kept.get("printed_from") or kept.get("printed_to")):
        del kept["printed_in"]
    if kept != query:
        return RedirectResponse(
            f"/appliances?{urlencode(kept)}" if kept else "/appliances", status_code=303
        )
    form, cursor = read_form(kept), kept.get("cursor")
    wanted, problems = read_filter(form, cursor)
    found = list_catalogue(session, filters=wanted)
    page = catalogue_page(
        form=form,
        wanted=wanted,
        found=found,
        categories=category_words(session),
        problems=problems,
        places=read_places(session, wanted, found.items, has_more=found.next is not None),
    )
    return render(request, "catalogue.html", page, site=site_of(request, viewer))


@router.get("/methods")
def methods(request: Request, viewer: Viewer) -> Response:
    return render(request, "methods.html", methods_page(), site=site_of(request, viewer))


@router.get("/methods/{name}")
def method(request: Request, name: str, viewer: Viewer) -> Response:
    return render(request, "method.html", method_page(name), site=site_of(request, viewer))


@router.get("/api-guide")
def api_guide(request: Request, viewer: Viewer) -> Response:
    return render(request, "method.html", api_page(), site=site_of(request, viewer))


@router.get("/safety")
def safety(request: Request, viewer: Viewer) -> Response:
    return render(request, "prose.html", SAFETY, site=site_of(request, viewer))


@router.get("/data-licence")
def data_licence(request: Request, viewer: Viewer) -> Response:
    return render(request, "prose.html", DATA_LICENCE, site=site_of(request, viewer))


@router.get("/privacy")
def privacy(request: Request, viewer: Viewer) -> Response:
    return render(request, "prose.html", PRIVACY, site=site_of(request, viewer))
