"""The desk: what waits, a run's case, and decisions."""

from typing import Annotated

from fastapi import Query, Request, Response

from server.actions.compare_with_similar import compare_with_similar
from server.actions.decide_run import look_over_run, publish_run, return_run, take_down_run
from server.actions.view_case import view_case
from server.api import desk_shapes as shapes
from server.api import run_outs
from server.api.conditional import answer
from server.api.openapi import api_router, needs_token, refusals
from server.api.run_shapes import RunStatusOut
from server.api.shapes import Cursor, Limit, ListOut, PublicId
from server.dependencies import Maintainer, ReadSession, WriteSession
from server.model.moderation import DeskFilter, DeskItem, DeskKind, DeskState, RemarkSent, RunCase
from server.model.similar import SimilarFigure
from server.store.desk import desk_queue
from server.store.runs import run_view

router = api_router(tags=["moderation"])


@router.get(
    "/desk",
    response_model=ListOut[shapes.DeskItemOut],
    responses=refusals(401, 403),
    openapi_extra=needs_token(),
)
def list_desk(
    request: Request,
    session: ReadSession,
    maintainer: Maintainer,
    kind: DeskKind | None = None,
    state: DeskState = DeskState.OPEN,
    category: Annotated[str | None, Query(max_length=200, pattern=r"^[^\x00]*$")] = None,
    mine: Annotated[bool, Query(description="Only what you have taken")] = False,
    cursor: Cursor = None,
    limit: Limit = 50,
) -> Response:
    """What waits for a maintainer, what needs attention first in front. Scope `maintain`."""
    filters = DeskFilter(
        kind=kind,
        state=state,
        category=category or None,
        is_mine=mine,
        cursor=cursor or None,
        limit=limit,
    )
    page = desk_queue(session, viewer=maintainer, filters=filters)
    items = [_item(item) for item in page.items]
    return answer(request, ListOut(items=items, next=page.next), is_own=True)


@router.get(
    "/runs/{run_id}/case",
    response_model=shapes.CaseOut,
    responses=refusals(401, 403, 404),
    openapi_extra=needs_token(),
)
def read_case(
    request: Request, session: ReadSession, maintainer: Maintainer, run_id: PublicId
) -> Response:
    """A run as a maintainer decides on it: its version, remarks, similar runs, tester's record."""
    rule = request.app.state.settings.publishing_rule
    case = view_case(session, public_id=run_id, maintainer=maintainer, rule=rule)
    reduction = case.view.reduction
    similar: tuple[SimilarFigure, ...] = ()
    if reduction is not None:
        similar = compare_with_similar(
            session, run_id=run_id, kind=reduction.kind, metrics=reduction.metrics
        )
    return answer(request, _case(case, similar), is_own=True)


@router.post(
    "/runs/{run_id}/moves",
    status_code=201,
    responses=refusals(400, 401, 403, 404, 409, 413, 422),
    openapi_extra=needs_token(),
)
def move_run(
    session: WriteSession, maintainer: Maintainer, run_id: PublicId, sent: shapes.MoveIn
) -> RunStatusOut:
    """Publish, return or withdraw a run, or note that it was looked at. Scope `maintain`."""
    if sent.to == "published":
        publish_run(
            session,
            public_id=run_id,
            version=sent.version,
            maintainer=maintainer,
            note=sent.reason,
        )
    elif sent.to == "returned":
        return_run(
            session,
            public_id=run_id,
            version=sent.version,
            maintainer=maintainer,
            reason=sent.reason,
            remarks=[RemarkSent(one.field, one.text) for one in sent.remarks],
        )
    elif sent.to == "withdrawn":
        take_down_run(
            session,
            public_id=run_id,
            version=sent.version,
            maintainer=maintainer,
            reason=sent.reason,
        )
    else:
        look_over_run(session, public_id=run_id, version=sent.version, maintainer=maintainer)
    session.flush()
    return run_outs.status(run_view(session, public_id=run_id, viewer=maintainer, with_trace=False))


def _item(item: DeskItem) -> shapes.DeskItemOut:
    return shapes.DeskItemOut(
        kind=item.kind,
        source=item.source,
        id=item.public_id,
        since=item.at,
        appliance_id=item.appliance_id,
        appliance=item.appliance,
        category=item.category,
        run_id=item.run_id,
        by=item.by,
        findings=[one.code.value for one in item.errors],
        version=item.version,
        assigned_to=item.assigned_to,
        is_barred=item.is_barred,
    )


def _case(case: RunCase, similar: tuple[SimilarFigure, ...]) -> shapes.CaseOut:
    record = case.record
    return shapes.CaseOut(
        id=case.view.public_id,
        state=case.state,
        version=case.version,
        held=case.is_held,
        first_run=case.is_first,
        needs_look=case.needs_look,
        not_before=case.not_before,
        accepted_at=case.accepted_at,
        assigned_to=case.assigned.name if case.assigned is not None else None,
        barred=case.barred,
        remarks=[
            shapes.RemarkOut(
                field=one.field, text=one.text, revision=one.revision, by=one.by, at=one.at
            )
            for one in case.remarks
        ],
        similar=[_similar(one) for one in similar],
        tester=shapes.RecordOut(
            id=record.tester_id,
            name=record.name,
            published=record.n_published,
            returned=record.n_returned,
            withdrawn=record.n_withdrawn,
            waiting=record.n_waiting,
            good_standing=record.is_in_standing,
            ties=list(record.ties),
        ),
    )


def _similar(one: SimilarFigure) -> shapes.SimilarOut:
    return shapes.SimilarOut(
        name=one.own.name,
        value=one.own.value,
        basis=one.basis.value if one.basis is not None else None,
        typical=one.typical,
        low=one.low,
        high=one.high,
        n_runs=one.n_runs,
        off=one.n_off,
        is_far_off=one.is_far,
        reason=one.reason,
    )
