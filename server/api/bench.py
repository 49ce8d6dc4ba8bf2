"""One's own bench as JSON."""

from typing import Annotated

from fastapi import Query, Request, Response

from server.actions.view_my_bench import view_my_bench
from server.api import bench_shapes as shapes
from server.api import outs, run_outs
from server.api.conditional import answer
from server.api.openapi import api_router, needs_token, refusals
from server.dependencies import ReadSession, Signed
from server.model.my_bench import MOST_MONTHS, MyBench, RunEffect
from server.model.pooled import PooledFigure
from server.model.words import METRIC_UNITS, MetricName

router = api_router(tags=["people"])


@router.get(
    "/testers/me/bench",
    response_model=shapes.BenchOut,
    responses=refusals(401),
    openapi_extra=needs_token(),
)
def read_my_bench(
    request: Request,
    session: ReadSession,
    tester: Signed,
    months: Annotated[
        int | None,
        Query(
            ge=1,
            le=MOST_MONTHS,
            description="From one calibration to the next, else as set on the page My bench",
        ),
    ] = None,
) -> Response:
    """Rigs, calibrations due, drafts, runs with remarks, and what became of the runs."""
    bench = view_my_bench(session, tester=tester, calibration_months=months)
    return answer(request, _bench(bench), is_own=True)


def _bench(bench: MyBench) -> shapes.BenchOut:
    return shapes.BenchOut(
        rigs=[outs.rig(one) for one in bench.rigs],
        calibrations=[
            shapes.CalibrationOut(
                rig=one.rig_id,
                channel=one.channel.value,
                instrument=one.instrument,
                calibrated=one.calibrated,
                due=one.due,
            )
            for one in bench.calibrations
        ],
        drafts=[
            shapes.OwnDraftOut(
                id=one.public_id,
                page=f"/send/{one.public_id}/columns",
                file=one.file.name,
                bytes=one.file.n_bytes,
                updated_at=one.updated_at,
            )
            for one in bench.drafts
        ],
        runs=[run_outs.run_row(row) for row in bench.runs],
        has_more_runs=bench.has_more_runs,
        remarks=[
            shapes.OwnRemarkOut(run=run, field=r.field, text=r.text, created_at=r.created_at)
            for run, remarks in bench.remarks.items()
            for r in remarks
        ],
        effects=[_effect(one) for one in bench.effects],
        repeats=[
            shapes.RepeatOut(
                run=one.run_id,
                tester=one.tester,
                tested_on=one.tested_on,
                appliance=one.appliance_id,
            )
            for one in bench.repeats
        ],
        asked=_asked(bench),
        watched=[
            shapes.WatchedOut(
                address=one.address,
                page=f"/live/{one.address}",
                title=one.title,
                started_at=one.started_at,
                ended_at=one.ended_at,
                expires_at=one.expires_at,
            )
            for one in bench.watched
        ],
    )


def _asked(bench: MyBench) -> list[shapes.AskedOut]:
    return [
        shapes.AskedOut(
            id=one.public_id,
            kind=one.kind.value,
            state=one.state.value,
            text=one.text,
            answer=one.answer,
            appliance=one.appliance_id,
            run=one.run_id,
            created_at=one.created_at,
        )
        for one in bench.asked
    ]


def _effect(one: RunEffect) -> shapes.EffectOut:
    return shapes.EffectOut(
        run=one.run_id,
        appliance=one.appliance_id,
        metric=one.metric.value,
        with_run=_pooled(one.pooled, one.metric, one.n_testers),
        without_run=_pooled(one.without, one.metric, one.n_testers_without),
        left_out=one.left_out,
    )


def _pooled(
    figure: PooledFigure | None, metric: MetricName, n_testers: int
) -> shapes.PooledOut | None:
    if figure is None:
        return None
    return shapes.PooledOut(
        value=figure.value,
        unit=METRIC_UNITS[metric],
        standard_uncertainty=figure.standard_uncertainty,
        low=figure.low,
        high=figure.high,
        n_testers=n_testers,
    )
