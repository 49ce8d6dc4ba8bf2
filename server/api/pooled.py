"""An appliance's figures pooled over its testers."""

from datetime import date

from fastapi import Request, Response
from pydantic import Field

from server.actions.pool_appliance import pool_appliance
from server.api import exports, outs
from server.api.conditional import answer
from server.api.openapi import api_router, refusals
from server.api.shapes import ListOut, Out, PublicId
from server.dependencies import ReadSession
from server.model.pooled import MetricPooling, PublishedRun
from server.store.appliances import appliance_view
from server.store.stamps import appliance_stamp
from server.wording.pooled import METHOD, pooling_to_json

router = api_router("/appliances", tags=["appliances"])


class PooledIntervalOut(Out):
    """Null ends: there is no telling."""

    low: float | None
    high: float | None
    coverage: float


class PooledFigureOut(Out):
    """The figure over all testers; one tester alone has its own value and no interval."""

    value: float
    standard_uncertainty: float | None
    interval: PooledIntervalOut
    degrees_of_freedom: int | None


class ConsistencyOut(Out):
    """One tester among the others."""

    tester: str
    n: int
    value: float
    standard_uncertainty: float | None
    standard_deviation: float | None
    h: float | None
    k: float | None
    critical_k: float | None
    zeta: float | None
    flagged: bool


class CriticalOut(Out):
    h: float | None
    k: float | None


class ComponentOut(Out):
    """What one level adds to the spread; `includes`: levels that can't be told from it."""

    level: str
    sd: float | None
    degrees_of_freedom: int | None
    includes: list[str]
    reason: str | None


class PooledRunOut(Out):
    """A run whose figure counts."""

    run: str
    page: str
    tester: str
    specimen: str
    tested_on: date | None
    value: float
    standard_uncertainty: float | None
    method_version: str


class LeftOutOut(Out):
    """A published run whose figure is not pooled, and why."""

    run: str
    page: str
    tester: str
    reason: str


class PooledMetricOut(Out):
    """One figure over an appliance's published brake runs, in SI.

    `pooled` null: no run has it with a value to pool. Runs that were withdrawn or returned never
    count. A null elsewhere has its line in `reasons`.
    """

    metric: str
    unit: str
    runs: list[PooledRunOut]
    left_out: list[LeftOutOut]
    shared_uncertainty: float
    n_testers: int = 0
    n_results: int = 0
    pooled: PooledFigureOut | None = None
    between_tester_sd: float | None = None
    q: float | None = None
    q_probability: float | None = None
    i_squared: float | None = None
    birge_ratio: float | None = None
    repeatability_sd: float | None = None
    reproducibility_sd: float | None = None
    consistency: list[ConsistencyOut] = Field(default_factory=list)
    critical: CriticalOut = CriticalOut(h=None, k=None)
    components: list[ComponentOut] = Field(default_factory=list)
    findings: list[str] = Field(default_factory=list)
    reasons: dict[str, str] = Field(default_factory=dict)
    method: str = METHOD
    method_versions: list[str] = Field(
        default_factory=list,
        description="Which made the pooled figures; more than one while a recompute is partly done",
    )


@router.get(
    "/{appliance_id}/pooled",
    response_model=ListOut[PooledMetricOut],
    responses={**refusals(404), 304: exports.NOT_CHANGED},
)
def read_pooled(request: Request, session: ReadSession, appliance_id: PublicId) -> Response:
    """Each headline figure over all testers: pooled value, agreement, and who stands out."""
    if appliance_stamp(session, public_id=appliance_id) is None:
        appliance_view(session, public_id=appliance_id, viewer=None)  # NotFound or Moved
    items = [_pooled(one) for one in pool_appliance(session, public_id=appliance_id)]
    return answer(request, ListOut[PooledMetricOut](items=items))


def _pooled(one: MetricPooling) -> PooledMetricOut:
    found = {} if one.pooling is None else pooling_to_json(one.pooling)
    return PooledMetricOut.model_validate(
        {
            **found,
            "metric": one.metric.value,
            "unit": one.unit,
            "runs": [_run(run, one) for run in one.runs],
            "left_out": [
                LeftOutOut(
                    run=left.run.public_id,
                    page=outs.run_page(left.run.public_id),
                    tester=left.run.tester,
                    reason=left.reason,
                )
                for left in one.left_out
            ],
            "shared_uncertainty": one.shared_uncertainty,
            "method_versions": list(one.method_versions),
        }
    )


def _run(run: PublishedRun, one: MetricPooling) -> PooledRunOut:
    figure = run.metrics[one.metric]
    assert figure.value is not None, "a run without a value is left out"
    return PooledRunOut(
        run=run.public_id,
        page=outs.run_page(run.public_id),
        tester=run.tester,
        specimen=run.specimen_id,
        tested_on=run.tested_on,
        value=figure.value,
        standard_uncertainty=figure.standard_uncertainty,
        method_version=run.method_version,
    )
