"""Two to six appliances side by side."""

from typing import Annotated, Literal

from fastapi import Query, Request, Response

from server.actions.pool_appliance import pool_appliances
from server.actions.rank_appliances import RANKED, chance_of_highest
from server.api import exports, run_outs
from server.api.conditional import answer
from server.api.openapi import api_router, refusals
from server.api.run_shapes import ComparedOut
from server.api.shapes import IdWord, ListOut
from server.dependencies import ReadSession
from server.store.compare import compare_views

router = api_router(tags=["compare"])
_Ids = Annotated[list[IdWord], Query(min_length=2, max_length=6)]


@router.get(
    "/compare",
    response_model=ListOut[ComparedOut],
    responses={**refusals(404, 422), 200: exports.CSV_TOO, 304: exports.NOT_CHANGED},
)
def compare(
    request: Request,
    session: ReadSession,
    appliance: _Ids,
    format: Literal["json", "csv"] = "json",
) -> Response:
    """Plates, figures, claims and curves beside one another, in the order asked.

    With each the chance that its highest steady shaft power is the highest of them.
    """
    views = compare_views(session, public_ids=appliance, viewer=None)
    ids = [view.appliance.public_id for view in views]
    chances = chance_of_highest(pool_appliances(session, public_ids=ids, metric=RANKED))
    items = [
        run_outs.compared(view, chance_of_highest=chances.get(public_id))
        for public_id, view in zip(ids, views, strict=True)
    ]
    if format == "csv":
        return exports.compared_csv(items)
    return answer(request, ListOut[ComparedOut](items=items))
