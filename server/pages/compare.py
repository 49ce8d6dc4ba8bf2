"""The route of side by side: the address is the comparison."""

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.actions.pool_appliance import pool_appliances
from server.actions.rank_appliances import RANKED, chance_of_highest
from server.dependencies import ReadSession, Viewer
from server.model.views import CatalogueFilter
from server.pages.rank_rows import rank_rows, rank_sentences
from server.pages.request import site_of
from server.pages.side_by_side import MOST, address, side_by_side_page
from server.pages.templating import render
from server.store.catalogue import list_catalogue
from server.store.compare import compare_views

router = APIRouter()
_N_PICKS = 12


@router.get("/side-by-side")
def side_by_side(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    asked = [one for one in request.query_params.getlist("appliance") if one]
    ids = list(dict.fromkeys(asked))
    if asked != ids:
        return RedirectResponse(address(ids), status_code=303)
    problems = []
    if len(ids) > MOST:
        problems.append(f"At most {MOST} appliances fit; the first {MOST} are shown.")
        ids = ids[:MOST]
    views = compare_views(session, public_ids=ids, viewer=viewer) if ids else ()
    text = request.query_params.get("text", "").strip()
    found = (
        list_catalogue(session, filters=CatalogueFilter(text=text or None, limit=_N_PICKS)).items
        if len(ids) < MOST
        else ()
    )
    pooled = pool_appliances(
        session, public_ids=[view.appliance.public_id for view in views], metric=RANKED
    )
    chances = chance_of_highest(pooled)
    page = side_by_side_page(
        views,
        text=text,
        found=found,
        problems=problems,
        rank_rows=rank_rows(views, pooled, chances),
        rank_sentences=rank_sentences(views, pooled, chances),
    )
    return render(request, "side_by_side.html", page, site=site_of(request, viewer))
