"""Runs: sending one, reading one, the list of them."""

from typing import Annotated, Any, Literal

from fastapi import Query, Request, Response

from server import __version__
from server.actions.upload_in_pieces import take_upload
from server.actions.view_run import view_run
from server.actions.withdraw_run import withdraw_run
from server.api import exports, run_outs
from server.api.conditional import answer, unchanged
from server.api.openapi import api_router, needs_token, refusals
from server.api.run_shapes import RunOut, RunRowOut, RunStatusOut
from server.api.shapes import Cursor, IdWord, Limit, ListOut, PublicId, ReasonIn
from server.dependencies import (
    PreparedSubmission,
    ReadSession,
    SubmitSession,
    Viewer,
    Writer,
    WriteSession,
)
from server.errors import SignInNeeded
from server.model.words import RunState
from server.store.runs import list_runs, run_view
from server.store.stamps import run_stamp

router = api_router("/runs", tags=["runs"])

_BENCH_EXAMPLE = {
    "appliance": {"maker": "Millbeck", "model": "WD-30", "category": "wet/dry vacuum"},
    "plate": {"voltage": "120 V", "supply": "AC", "current": "10.2 A", "circuit": "15 A"},
    "rig": {"arm": "100 mm", "inertia": "3e-4 kg m^2", "rotor_inertia": "4e-5 kg m^2"},
    "instrument": [{"channel": "torque", "of_reading": "0.5 %"}],
    "claim": [{"quantity": "power", "value": "5 hp", "wording": "5.0 Peak HP*"}],
    "columns": {"Torque": {"channel": "torque", "unit": "ozf·in"}},
    "run": {"tested_on": "2026-11-02", "notes": "Third run of the day"},
}
_ID_PART = {"type": "string", "pattern": "^[0-9a-z]{10}$"}
_SENT: dict[str, Any] = {
    **needs_token(),
    "requestBody": {
        "required": True,
        "description": "The log as the part `file`, or as `upload` the id of one that came in "
        "pieces for a run; described by `bench` (JSON of the bench file's shape), by ids of stored "
        "things, or both: ids overrule. Or the log itself as the body, with any key of the bench "
        "file's `[run]` in the address.",
        "content": {
            "multipart/form-data": {
                "schema": {
                    "type": "object",
                    "anyOf": [{"required": ["file"]}, {"required": ["upload"]}],
                    "properties": {
                        "file": {"type": "string", "format": "binary"},
                        "upload": _ID_PART,
                        "bench": {"type": "object", "examples": [_BENCH_EXAMPLE]},
                        "appliance": _ID_PART,
                        "specimen": _ID_PART,
                        "rig": _ID_PART,
                        "not_before": {
                            "type": "string",
                            "format": "date",
                            "description": "Not published before this date",
                        },
                    },
                },
                "encoding": {"bench": {"contentType": "application/json"}},
            },
            "text/csv": {"schema": {"type": "string"}},
            "application/octet-stream": {"schema": {"type": "string", "format": "binary"}},
        },
    },
    "parameters": [
        {
            "name": word,
            "in": "query",
            "description": f"{what}; for a raw body",
            "schema": {"type": "string", "maxLength": 200},
        }
        for word, what in {
            "file_name": "What the file is called",
            "tested_on": "Local date of the run, like 2026-11-02",
            "source": "logger, by hand or video",
            "notes": "What a reader should know",
            "not_before": "Not published before this date, like 2026-12-24",
        }.items()
    ],
}
_ACCEPTED = {
    "model": RunStatusOut,
    "description": "A large log: it is stored, its figures follow. Ask at `Location`.",
}


@router.post(
    "",
    status_code=201,
    response_model=RunOut,
    responses={
        **refusals(400, 401, 403, 404, 409, 413, 415, 422),
        200: {"model": RunOut, "description": "This idempotency key stored this run before."},
        202: _ACCEPTED,
    },
    openapi_extra=_SENT,
)
def send_run(
    request: Request,
    response: Response,
    tester: Writer,
    submission: PreparedSubmission,
    session: SubmitSession,
) -> RunOut | RunStatusOut | Response:
    """Send a log. It is reduced at once; above the server's inline size, soon after."""
    from server.actions.submit_run import submit_run

    stored = submit_run(
        session,
        prepared=submission.prepared,
        upload=submission.upload,
        bench=submission.bench,
        tester=tester,
        appliance_id=submission.ids["appliance"],
        specimen_id=submission.ids["specimen"],
        rig_id=submission.ids["rig"],
        idempotency_key=submission.idempotency_key,
        not_before=submission.not_before,
        rule=request.app.state.settings.publishing_rule,
    )
    if submission.upload_id is not None:
        take_upload(
            session,
            public_id=submission.upload_id,
            tester=tester,
            sha256=submission.upload.sha256,
            is_new=stored.is_new,
        )
    session.flush()
    view = view_run(session, public_id=stored.public_id, viewer=tester, with_trace=False)
    address = f"/api/v1/runs/{stored.public_id}"
    if view.state is RunState.WORKING:
        status = run_outs.status(view)
        headers = {"Location": f"{address}/status", "Retry-After": "1"}
        return Response(
            status.model_dump_json(),
            status_code=202,
            headers=headers,
            media_type="application/json",
        )
    response.status_code = 201 if stored.is_new else 200
    response.headers["Location"] = address
    return run_outs.run(view)


@router.get(
    "",
    response_model=ListOut[RunRowOut],
    responses={**refusals(401), 200: exports.CSV_TOO},
)
def list_all_runs(
    request: Request,
    session: ReadSession,
    viewer: Viewer,
    appliance: Annotated[IdWord | None, Query()] = None,
    specimen: Annotated[IdWord | None, Query()] = None,
    mine: Annotated[bool, Query(description="One's own, published or not")] = False,
    state: Annotated[RunState | None, Query()] = None,
    cursor: Cursor = None,
    limit: Limit = 50,
    format: Literal["json", "csv"] = "json",
) -> Response:
    """Runs, newest first: published ones, and one's own where a token is sent."""
    if mine and viewer is None:
        raise SignInNeeded("Which runs are yours is told by your token.")
    page = list_runs(
        session,
        viewer=viewer,
        appliance_id=appliance,
        specimen_id=specimen,
        tester_id=viewer.public_id if mine and viewer is not None else None,
        state=state,
        cursor=cursor or None,
        limit=limit,
    )
    rows = [run_outs.run_row(row) for row in page.items]
    if format == "csv":
        return exports.runs_csv(rows, next_cursor=page.next, request=request)
    listed = ListOut[RunRowOut].model_construct(items=rows, next=page.next)
    return answer(request, listed, is_own=viewer is not None)


@router.get(
    "/{run_id}",
    response_model=RunOut,
    responses={**refusals(401, 404), 304: exports.NOT_CHANGED},
)
def read_run(
    request: Request, response: Response, session: ReadSession, viewer: Viewer, run_id: PublicId
) -> RunOut | Response:
    """A run with its figures, findings and the claims read every way."""
    stamp = run_stamp(session, public_id=run_id, viewer=viewer)
    who = viewer.public_id if viewer is not None else ""
    fresh = unchanged(
        request, response, __version__, "run", run_id, stamp, who, is_own=viewer is not None
    )
    if stamp is not None and fresh is not None:
        return fresh
    return run_outs.run(view_run(session, public_id=run_id, viewer=viewer, with_trace=False))


@router.get("/{run_id}/status", responses=refusals(401, 404))
def read_run_status(
    response: Response, session: ReadSession, viewer: Viewer, run_id: PublicId
) -> RunStatusOut:
    """Where a run stands."""
    view = run_view(session, public_id=run_id, viewer=viewer, with_trace=False)
    response.headers["Cache-Control"] = "no-store"
    if view.state is RunState.WORKING:
        response.headers["Retry-After"] = "1"
    return run_outs.status(view)


@router.post(
    "/{run_id}/withdrawal",
    status_code=201,
    responses=refusals(400, 401, 403, 404, 409, 413, 422),
    openapi_extra=needs_token(),
)
def withdraw(
    tester: Writer, session: WriteSession, run_id: PublicId, sent: ReasonIn
) -> RunStatusOut:
    """Take one's run back: it leaves every list but one's own. What is stored stays."""
    withdraw_run(session, public_id=run_id, tester=tester, note=sent.reason)
    return run_outs.status(run_view(session, public_id=run_id, viewer=tester, with_trace=False))
