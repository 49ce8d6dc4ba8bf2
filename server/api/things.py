"""Claims, specimens and rigs by their own addresses."""

from typing import Annotated

from fastapi import Query, Request, Response

from server.actions.add_rig import add_rig
from server.actions.revise_rig import revise_rig
from server.api import ins, outs
from server.api.conditional import answer
from server.api.openapi import api_router, needs_token, refusals
from server.api.shapes import ClaimOut, Cursor, Limit, Line, ListOut, PublicId
from server.api.thing_shapes import RigIn, RigOut, SpecimenOut
from server.dependencies import ReadSession, Signed, Writer, WriteSession
from server.store.claims import claim_view, list_claims
from server.store.rigs import list_rigs, rig_revisions, rig_view
from server.store.specimens import specimen_view

router = api_router()


@router.get("/claims", response_model=ListOut[ClaimOut], tags=["appliances"])
def list_all_claims(
    request: Request,
    session: ReadSession,
    quantity: Annotated[Line | None, Query(description="Only of this quantity")] = None,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """Printed claims of all appliances, the newest noted first."""
    page = list_claims(session, quantity=quantity, cursor=cursor or None, limit=limit)
    items = [outs.claim(one.content, one.public_id) for one in page.items]
    return answer(request, ListOut[ClaimOut](items=items, next=page.next))


@router.get(
    "/claims/{claim_id}",
    response_model=ClaimOut,
    responses=refusals(404),
    tags=["appliances"],
)
def read_claim(request: Request, session: ReadSession, claim_id: PublicId) -> Response:
    """One printed claim."""
    found = claim_view(session, public_id=claim_id)
    return answer(request, outs.claim(found.content, found.public_id))


@router.get(
    "/specimens/{specimen_id}",
    response_model=SpecimenOut,
    responses=refusals(404),
    tags=["specimens"],
)
def read_specimen(request: Request, session: ReadSession, specimen_id: PublicId) -> Response:
    """One piece of an appliance."""
    found = specimen_view(session, public_id=specimen_id)
    return answer(request, outs.specimen(found, None))


@router.get(
    "/rigs",
    response_model=ListOut[RigOut],
    responses=refusals(401),
    tags=["rigs"],
    openapi_extra=needs_token(),
)
def list_own_rigs(request: Request, session: ReadSession, tester: Signed) -> Response:
    """One's own rigs as they stand now, the one last changed first."""
    items = [outs.rig(one) for one in list_rigs(session, tester=tester)]
    return answer(request, ListOut[RigOut](items=items), is_own=True)


@router.post(
    "/rigs",
    status_code=201,
    responses=refusals(400, 401, 403, 413, 422),
    tags=["rigs"],
    openapi_extra=needs_token(),
)
def create_rig(response: Response, tester: Writer, session: WriteSession, sent: RigIn) -> RigOut:
    """Describe one's rig."""
    stored = add_rig(session, rig=ins.rig(sent), tester=tester)
    response.headers["Location"] = f"/api/v1/rigs/{stored.public_id}"
    return outs.rig(stored)


@router.get("/rigs/{rig_id}", response_model=RigOut, responses=refusals(404), tags=["rigs"])
def read_rig(request: Request, session: ReadSession, rig_id: PublicId) -> Response:
    """A rig as it stands now."""
    return answer(request, outs.rig(rig_view(session, public_id=rig_id)))


@router.get(
    "/rigs/{rig_id}/revisions",
    response_model=ListOut[RigOut],
    responses=refusals(404),
    tags=["rigs"],
)
def list_rig_revisions(request: Request, session: ReadSession, rig_id: PublicId) -> Response:
    """Every revision of a rig, newest first."""
    items = [outs.rig(one) for one in rig_revisions(session, public_id=rig_id)]
    return answer(request, ListOut[RigOut](items=items))


@router.post(
    "/rigs/{rig_id}/revisions",
    status_code=201,
    responses=refusals(400, 401, 403, 404, 413, 422),
    tags=["rigs"],
    openapi_extra=needs_token(),
)
def create_rig_revision(
    tester: Writer, session: WriteSession, rig_id: PublicId, sent: RigIn
) -> RigOut:
    """Describe one's rig anew, after a change or a calibration."""
    stored = revise_rig(session, rig_id=rig_id, rig=ins.rig(sent), tester=tester)
    return outs.rig(stored)
