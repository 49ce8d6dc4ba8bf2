"""The catalogue: filters, sorts and pages of it."""

from typing import Annotated, Literal

from fastapi import Query, Request, Response
from pydantic import BaseModel, ConfigDict, Field

from server.api import exports, outs
from server.api.conditional import answer
from server.api.openapi import api_router, refusals
from server.api.shapes import ListOut
from server.api.thing_shapes import ListingOut
from server.dependencies import ReadSession
from server.model.views import CatalogueFilter
from server.model.words import MetricName
from server.store.catalogue import list_catalogue

router = api_router(tags=["appliances"])

_Word = Annotated[str | None, Field(max_length=200, pattern=r"^[^\x00]*$")]
_Bound = Annotated[float | None, Field(allow_inf_nan=False)]
Sort = Literal[
    "newest",
    "maker",
    "printed_power",
    "shaft_power_at_rated_current",
    "shaft_power_max_steady",
    "efficiency_max",
    "ratio",
]
_RANGES = (
    MetricName.SHAFT_POWER_AT_RATED_CURRENT,
    MetricName.SHAFT_POWER_MAX_STEADY,
    MetricName.SHAFT_POWER_MAX_MOMENTARY,
    MetricName.EFFICIENCY_MAX,
    MetricName.FREE_SPEED,
)


class CatalogueQuery(BaseModel):
    """Ranges are in SI: W, rad/s, efficiency as a fraction. Either end may be left open."""

    model_config = ConfigDict(extra="forbid")
    text: _Word = Field(None, description="Beginnings of words of maker, model, number, category")
    category: _Word = None
    maker: _Word = None
    printed_power_min: _Bound = None
    printed_power_max: _Bound = None
    shaft_power_at_rated_current_min: _Bound = None
    shaft_power_at_rated_current_max: _Bound = None
    shaft_power_max_steady_min: _Bound = None
    shaft_power_max_steady_max: _Bound = None
    shaft_power_max_momentary_min: _Bound = None
    shaft_power_max_momentary_max: _Bound = None
    efficiency_max_min: _Bound = None
    efficiency_max_max: _Bound = None
    free_speed_min: _Bound = None
    free_speed_max: _Bound = None
    sort: Sort = "newest"
    order: Literal["falling", "rising"] | None = Field(
        None, description="Without it falling; by maker rising"
    )
    cursor: str | None = Field(None, max_length=400, description="The `next` of the page before")
    limit: int = Field(50, ge=1, le=200)
    format: Literal["json", "csv"] = "json"


@router.get(
    "/appliances",
    response_model=ListOut[ListingOut],
    responses={**refusals(422), 200: exports.CSV_TOO, 304: exports.NOT_CHANGED},
)
def list_appliances(
    request: Request, session: ReadSession, query: Annotated[CatalogueQuery, Query()]
) -> Response:
    """The catalogue: one row per appliance, with the figures of its newest published run."""
    page = list_catalogue(session, filters=_filter(query))
    rows = [outs.listing(row) for row in page.items]
    if query.format == "csv":
        return exports.listings_csv(rows, next_cursor=page.next, request=request)
    return answer(request, ListOut[ListingOut].model_construct(items=rows, next=page.next))


def _filter(query: CatalogueQuery) -> CatalogueFilter:
    ranges = {
        name: ends
        for name in _RANGES
        if (ends := (getattr(query, f"{name}_min"), getattr(query, f"{name}_max"))) != (None, None)
    }
    falling = query.order == "falling" if query.order else query.sort != "maker"
    return CatalogueFilter(
        text=query.text or None,
        category=query.category or None,
        maker=query.maker or None,
        printed_power_w=(query.printed_power_min, query.printed_power_max),
        metric_ranges=ranges,
        sort=query.sort,
        descending=falling,
        cursor=query.cursor or None,
        limit=query.limit,
    )
