"""What one run consists of: figures, findings, load points, curves, trace, the file itself."""

from typing import Annotated, Any, Literal

from fastapi import Depends, Query, Request, Response
from fastapi.responses import FileResponse

from server.actions.view_run import view_run
from server.api import exports, run_outs
from server.api.conditional import matches
from server.api.openapi import api_router, refusals
from server.api.run_shapes import (
    CurveOut,
    FindingOut,
    NamedMetricOut,
    PointOut,
    ResultsOut,
    TraceOut,
)
from server.api.shapes import ListOut, PublicId
from server.charts.export import (
    LICENCE_HEADERS,
    curves_csv,
    metrics_csv,
    points_csv,
    trace_csv,
)
from server.dependencies import ReadSession, Viewer
from server.dependencies.limits import Limited
from server.errors import NotFound
from server.model.results import Reduction, Trace
from server.model.views import RunView
from server.settings import Settings
from server.store.files import original_path

router = api_router("/runs/{run_id}", tags=["runs"], refused=(401, 404))
Format = Annotated[Literal["json", "csv"], Query()]
_TABLE: dict[int | str, dict[str, Any]] = {200: exports.CSV_TOO}


def _run(session: ReadSession, viewer: Viewer, run_id: PublicId) -> RunView:
    return view_run(session, public_id=run_id, viewer=viewer, with_trace=False)


def _traced_run(session: ReadSession, viewer: Viewer, run_id: PublicId) -> RunView:
    return view_run(session, public_id=run_id, viewer=viewer)


Run = Annotated[RunView, Depends(_run)]
TracedRun = Annotated[RunView, Depends(_traced_run)]


def _figures(run: RunView) -> tuple[Reduction, ResultsOut]:
    results = run_outs.results(run)
    if run.reduction is None or results is None:
        raise NotFound(f"Run {run.public_id} has no figures: it is {run.state.value}.")
    return run.reduction, results


@router.get("/metrics", response_model=ListOut[NamedMetricOut], responses=_TABLE)
def list_metrics(run: Run, format: Format = "json") -> ListOut[NamedMetricOut] | Response:
    """Every figure of the run. What can't be had has no value and a reason."""
    reduction, results = _figures(run)
    if format == "csv":
        text = metrics_csv(reduction.metrics, method_version=reduction.method_version)
        return exports.csv_response(f"run-{run.public_id}-metrics", text)
    return ListOut[NamedMetricOut](
        items=[
            NamedMetricOut(name=name, **one.model_dump()) for name, one in results.metrics.items()
        ]
    )


@router.get("/findings")
def list_findings(run: Run) -> ListOut[FindingOut]:
    """What the numbers show that a reader must know."""
    _, results = _figures(run)
    return ListOut[FindingOut](items=results.findings)


@router.get("/points", response_model=ListOut[PointOut], responses=_TABLE)
def list_points(run: Run, format: Format = "json") -> ListOut[PointOut] | Response:
    """Steady dwells, or the load bins of a sweep."""
    reduction, _ = _figures(run)
    if format == "csv":
        return exports.csv_response(f"run-{run.public_id}-points", points_csv(reduction.points))
    return ListOut[PointOut](
        items=[run_outs.point(one, reduction.segments) for one in reduction.points]
    )


@router.get("/curves", response_model=ListOut[CurveOut], responses=_TABLE)
def list_curves(run: Run, format: Format = "json") -> ListOut[CurveOut] | Response:
    """The fitted curves along the load."""
    reduction, _ = _figures(run)
    if format == "csv":
        return exports.csv_response(f"run-{run.public_id}-curves", curves_csv(reduction.curves))
    return ListOut[CurveOut](items=[run_outs.curve(one) for one in reduction.curves])


@router.get(
    "/trace",
    response_model=TraceOut,
    responses={**_TABLE, **refusals(429)},
    dependencies=[Limited("download")],
)
def read_trace(run: TracedRun, format: Format = "json") -> TraceOut | Response:
    """The recording thinned for a screen, and the segments it falls into."""
    reduction, _ = _figures(run)
    if format == "csv":
        trace = reduction.trace or Trace({}, {})
        return exports.csv_response(f"run-{run.public_id}-trace", trace_csv(trace))
    return run_outs.trace(reduction)


@router.get(
    "/file",
    response_class=FileResponse,
    dependencies=[Limited("download")],
    responses={
        **refusals(429),
        200: {"content": {"application/octet-stream": {}}, "description": "The file as sent"},
        304: exports.NOT_CHANGED,
    },
)
def download_file(request: Request, run: Run) -> Response:
    """The file as it was sent, byte for byte."""
    settings: Settings = request.app.state.settings
    etag = f'"{run.file.sha256}"'
    headers = {
        "ETag": etag,
        "Cache-Control": "private, no-cache",
        "Vary": "Authorization, Cookie",
        **LICENCE_HEADERS,
        # A browser must never take a sender's file for a page of ours.
        "X-Content-Type-Options": "nosniff",
    }
    if matches(request, etag):
        return Response(status_code=304, headers=headers)
    path = original_path(settings.files, run.file.sha256)
    if not path.is_file():
        raise NotFound(f"The file of run {run.public_id} is not here any more.")
    return FileResponse(
        path, media_type="application/octet-stream", filename=run.file.name, headers=headers
    )
