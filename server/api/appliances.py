"""Appliances, their plates, printed claims, specimens and runs."""

from fastapi import Request, Response
from sqlalchemy.orm import Session

from server import __version__
from server.actions.add_appliance import add_appliance
from server.actions.add_claim import add_claim
from server.actions.add_specimen import add_specimen
from server.actions.revise_plate import revise_plate
from server.api import exports, ins, outs, run_outs
from server.api.conditional import answer, unchanged
from server.api.openapi import api_router, needs_token, refusals
from server.api.run_shapes import RunRowOut
from server.api.shapes import (
    ClaimIn,
    ClaimOut,
    Cursor,
    Limit,
    ListOut,
    PlateIn,
    PlateOut,
    PublicId,
)
from server.api.thing_shapes import ApplianceIn, ApplianceOut, SpecimenIn, SpecimenOut
from server.dependencies import ReadSession, Signed, Viewer, Writer, WriteSession
from server.store.appliances import appliance_view, plate_revisions
from server.store.claims import list_claims
from server.store.runs import list_runs
from server.store.specimens import list_specimens
from server.store.stamps import appliance_stamp

router = api_router("/appliances", tags=["appliances"])
_WRITE = {**refusals(400, 401, 403, 404, 413, 422)}


def _check_known(session: Session, appliance_id: str) -> None:
    """NotFound or Moved for an appliance that is not listed, so that an empty list means empty."""
    if appliance_stamp(session, public_id=appliance_id) is None:
        appliance_view(session, public_id=appliance_id, viewer=None)


@router.post(
    "",
    status_code=201,
    responses={**refusals(400, 401, 403, 409, 413, 422)},
    openapi_extra=needs_token(),
)
def create_appliance(
    response: Response, tester: Writer, session: WriteSession, sent: ApplianceIn
) -> ApplianceOut:
    """Add a make and model as sold, with its plate and printed claims."""
    appliance, plate, claims = ins.appliance(sent)
    stored = add_appliance(session, appliance=appliance, tester=tester, plate=plate, claims=claims)
    response.headers["Location"] = f"/api/v1/appliances/{stored.public_id}"
    return run_outs.appliance(appliance_view(session, public_id=stored.public_id, viewer=None))


@router.get(
    "/{appliance_id}",
    response_model=ApplianceOut,
    responses={**refusals(404), 304: exports.NOT_CHANGED},
)
def read_appliance(
    request: Request, response: Response, session: ReadSession, appliance_id: PublicId
) -> ApplianceOut | Response:
    """An appliance: plate, claims, and the figures of its newest published run."""
    stamp = appliance_stamp(session, public_id=appliance_id)
    fresh = unchanged(request, response, __version__, "appliance", appliance_id, stamp)
    if stamp is not None and fresh is not None:
        return fresh
    return run_outs.appliance(appliance_view(session, public_id=appliance_id, viewer=None))


@router.get("/{appliance_id}/plates", response_model=ListOut[PlateOut], responses=refusals(404))
def list_plates(request: Request, session: ReadSession, appliance_id: PublicId) -> Response:
    """Every revision of the rating plate, newest first."""
    found = plate_revisions(session, public_id=appliance_id)
    items = [outs.plate(one.content, one.revision) for one in found]
    return answer(request, ListOut[PlateOut](items=items))


@router.post(
    "/{appliance_id}/plates", status_code=201, responses=_WRITE, openapi_extra=needs_token()
)
def create_plate(
    tester: Writer, session: WriteSession, appliance_id: PublicId, sent: PlateIn
) -> PlateOut:
    """Note the rating plate anew. Runs keep the revision their figures were made with."""
    plate = ins.plate(sent)
    stored = revise_plate(session, appliance_id=appliance_id, plate=plate, tester=tester)
    return outs.plate(stored.content, stored.revision)


@router.get("/{appliance_id}/claims", response_model=ListOut[ClaimOut], responses=refusals(404))
def list_appliance_claims(
    request: Request,
    session: ReadSession,
    appliance_id: PublicId,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """What is printed about the appliance, word for word; the newest noted first."""
    _check_known(session, appliance_id)
    page = list_claims(session, appliance_id=appliance_id, cursor=cursor or None, limit=limit)
    items = [outs.claim(one.content, one.public_id) for one in page.items]
    return answer(request, ListOut[ClaimOut](items=items, next=page.next))


@router.post(
    "/{appliance_id}/claims", status_code=201, responses=_WRITE, openapi_extra=needs_token()
)
def create_claim(
    response: Response,
    tester: Writer,
    session: WriteSession,
    appliance_id: PublicId,
    sent: ClaimIn,
) -> ClaimOut:
    """Note a printed claim. The same claim again is the same claim."""
    claim = ins.claim(sent)
    stored = add_claim(session, appliance_id=appliance_id, claim=claim, tester=tester)
    response.headers["Location"] = f"/api/v1/claims/{stored.public_id}"
    return outs.claim(stored.content, stored.public_id)


@router.get(
    "/{appliance_id}/specimens",
    response_model=ListOut[SpecimenOut],
    responses=refusals(401, 404),
    openapi_extra=needs_token(),
)
def list_appliance_specimens(
    request: Request, session: ReadSession, tester: Signed, appliance_id: PublicId
) -> Response:
    """One's own pieces of the appliance, newest first."""
    _check_known(session, appliance_id)
    found = list_specimens(session, appliance_id=appliance_id, tester=tester)
    items = [outs.specimen(one, appliance_id) for one in found]
    return answer(request, ListOut[SpecimenOut](items=items), is_own=True)


@router.post(
    "/{appliance_id}/specimens", status_code=201, responses=_WRITE, openapi_extra=needs_token()
)
def create_specimen(
    response: Response,
    tester: Writer,
    session: WriteSession,
    appliance_id: PublicId,
    sent: SpecimenIn,
) -> SpecimenOut:
    """Describe one's own piece of the appliance."""
    specimen = ins.specimen(sent)
    stored = add_specimen(session, appliance_id=appliance_id, specimen=specimen, tester=tester)
    response.headers["Location"] = f"/api/v1/specimens/{stored.public_id}"
    return outs.specimen(stored, appliance_id)


@router.get("/{appliance_id}/runs", response_model=ListOut[RunRowOut], responses=refusals(401, 404))
def list_appliance_runs(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    appliance_id: PublicId,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """Runs of the appliance, newest first: published ones, and one's own with a token."""
    _check_known(session, appliance_id)
    page = list_runs(
        session, viewer=viewer, appliance_id=appliance_id, cursor=cursor or None, limit=limit
    )
    items = [run_outs.run_row(row) for row in page.items]
    listed = ListOut[RunRowOut](items=items, next=page.next)
    return answer(request, listed, is_own=viewer is not None)
