"""Reports, contests, requests and answers to claims."""

from fastapi import Request, Response

from server.actions.answer_claim import answer_claim, remove_statement
from server.actions.raise_concern import About, ask_for_test, contest_return, report_problem
from server.actions.settle_concern import Outcome, settle_concern
from server.api import desk_shapes as shapes
from server.api.conditional import answer
from server.api.openapi import api_router, needs_token, refusals
from server.api.shapes import ListOut, PublicId, ReasonIn
from server.dependencies import Maintainer, ReadSession, Viewer, Writer, WriteSession
from server.dependencies.limits import Limited
from server.model.moderation import ConcernView, StatementView
from server.model.people import MAINTAIN, ConcernState
from server.model.views import Tester
from server.store.concerns import concern_view
from server.store.statements import claim_place, statement_view, statements_of

router = api_router(tags=["moderation"])
# A token may be sent, and must be good then; none is needed.
_NO_TOKEN = {"security": [{}, *needs_token()["security"]]}
_REFUSED = refusals(400, 401, 403, 404, 413, 422, 429)


@router.post(
    "/concerns",
    status_code=201,
    responses=_REFUSED,
    dependencies=[Limited("report")],
    openapi_extra=_NO_TOKEN,
)
def report(session: WriteSession, viewer: Viewer, sent: shapes.ConcernIn) -> shapes.ConcernMadeOut:
    """Report a problem with a run, a figure of it, a claim or an appliance. Needs no token."""
    public_id = report_problem(
        session,
        about=About(sent.appliance, sent.run, sent.claim, sent.figure),
        text=sent.text,
        reporter=viewer,
        contact=sent.contact,
    )
    return shapes.ConcernMadeOut(id=public_id, state=ConcernState.OPEN)


@router.post(
    "/requests",
    status_code=201,
    responses=_REFUSED,
    dependencies=[Limited("report")],
    openapi_extra=_NO_TOKEN,
)
def ask(session: WriteSession, viewer: Viewer, sent: shapes.RequestIn) -> shapes.ConcernMadeOut:
    """Ask for a test of an appliance. Needs no token."""
    public_id = ask_for_test(
        session, appliance_id=sent.appliance, wish=sent.wish, text=sent.text, reporter=viewer
    )
    return shapes.ConcernMadeOut(id=public_id, state=ConcernState.OPEN)


@router.post(
    "/runs/{run_id}/contests",
    status_code=201,
    responses=refusals(400, 401, 403, 404, 409, 413, 422),
    openapi_extra=needs_token(),
)
def contest(
    session: WriteSession, tester: Writer, run_id: PublicId, sent: shapes.ContestIn
) -> shapes.ConcernMadeOut:
    """Contest the return of one's own run; another maintainer decides."""
    public_id = contest_return(session, run_id=run_id, tester=tester, text=sent.text)
    return shapes.ConcernMadeOut(id=public_id, state=ConcernState.OPEN)


@router.get(
    "/concerns/{concern_id}", response_model=shapes.ConcernOut, responses=refusals(401, 404)
)
def read_concern(
    request: Request, session: ReadSession, viewer: Viewer, concern_id: PublicId
) -> Response:
    """A report and what came of it, for whoever knows its id."""
    view = concern_view(session, public_id=concern_id, viewer=viewer)
    return answer(request, _concern(view, viewer), is_own=True)


@router.post(
    "/concerns/{concern_id}/settlement",
    status_code=201,
    responses=refusals(400, 401, 403, 404, 409, 413, 422),
    openapi_extra=needs_token(),
)
def settle(
    session: WriteSession, maintainer: Maintainer, concern_id: PublicId, sent: shapes.SettlementIn
) -> shapes.ConcernOut:
    """Settle a report with an answer that everybody can read. Scope `maintain`."""
    settle_concern(
        session,
        public_id=concern_id,
        version=sent.version,
        maintainer=maintainer,
        outcome=Outcome(sent.outcome),
        answer=sent.answer,
    )
    session.flush()
    view = concern_view(session, public_id=concern_id, viewer=maintainer)
    return _concern(view, maintainer)


@router.get(
    "/claims/{claim_id}/statements",
    response_model=ListOut[shapes.StatementOut],
    responses=refusals(401, 404),
)
def list_statements(
    request: Request, session: ReadSession, viewer: Viewer, claim_id: PublicId
) -> Response:
    """The answers to a claim, oldest first."""
    claim_place(session, public_id=claim_id)
    items = [_statement(one) for one in statements_of(session, claim_id=claim_id)]
    return answer(request, ListOut(items=items), is_own=viewer is not None)


@router.post(
    "/claims/{claim_id}/statements",
    status_code=201,
    responses=refusals(400, 401, 403, 404, 413, 422),
    openapi_extra=needs_token(),
)
def add_statement(
    session: WriteSession, tester: Writer, claim_id: PublicId, sent: shapes.StatementIn
) -> shapes.StatementOut:
    """Note an answer to a claim; `maker` needs a representative checked by mailbox."""
    public_id = answer_claim(
        session,
        claim_id=claim_id,
        kind=sent.kind,
        text=sent.text,
        source=sent.source,
        stated_on=sent.stated_on,
        tester=tester,
    )
    session.flush()
    return _statement(statement_view(session, public_id=public_id))


@router.post(
    "/statements/{statement_id}/removal",
    status_code=201,
    responses=refusals(400, 401, 403, 404, 409, 413, 422),
    openapi_extra=needs_token(),
)
def remove(
    session: WriteSession, maintainer: Maintainer, statement_id: PublicId, sent: ReasonIn
) -> shapes.StatementOut:
    """Take an answer off the pages, with a reason that stays. Scope `maintain`."""
    remove_statement(session, public_id=statement_id, maintainer=maintainer, reason=sent.reason)
    session.flush()
    return _statement(statement_view(session, public_id=statement_id))


def _concern(view: ConcernView, viewer: Tester | None) -> shapes.ConcernOut:
    is_maintainer = viewer is not None and MAINTAIN in viewer.scopes
    return shapes.ConcernOut(
        id=view.public_id,
        kind=view.kind,
        state=view.state,
        figure=view.figure,
        appliance_id=view.appliance_id,
        run_id=view.run_id,
        claim_id=view.claim_id,
        text=view.text,
        contact=view.contact if is_maintainer else None,
        by=view.by,
        answer=view.answer,
        created_at=view.created_at,
        decided_at=view.decided_at,
        version=view.version,
    )


def _statement(view: StatementView) -> shapes.StatementOut:
    is_there = view.removed_at is None
    return shapes.StatementOut(
        id=view.public_id,
        claim_id=view.claim_id,
        kind=view.kind,
        text=view.text if is_there else None,
        source=view.source,
        stated_on=view.stated_on,
        by=view.by,
        removed_at=view.removed_at,
        reason=view.reason,
    )
