"""What the OpenAPI document says beside the routes: the words on top, tokens, problem answers."""

from enum import Enum
from typing import Any

from fastapi import APIRouter, FastAPI
from fastapi.openapi.utils import get_openapi
from fastapi.routing import APIRoute

from server.api.shapes import ProblemOut
from server.problems import MEDIA_TYPE
from server.problems.kinds import KINDS

DESCRIPTION = """Bench tests of mains-powered motor appliances.

Values are in SI with their unit beside them; efficiency and power factor are fractions. A figure
that can't be had has `value` null and a `reason`; with `lower_bound` the value is the highest that
was shown. Lists are `{items, next}`: pass `next` as `cursor`. Refusals are RFC 9457 problem
documents. Reading needs no token; writing needs `Authorization: Bearer …`. Data: CC BY 4.0.
"""
_SCHEME = "token"


def api_router(
    prefix: str = "", *, tags: list[str | Enum] | None = None, refused: tuple[int, ...] = ()
) -> APIRouter:
    """A router of the API. Its routes stand by themselves: see `app.flat_routes`."""
    return APIRouter(
        prefix=f"/api/v1{prefix}",
        tags=tags,
        responses=refusals(422, 500, *refused),
        generate_unique_id_function=operation_id,
    )


def refusals(*statuses: int) -> dict[int | str, dict[str, Any]]:
    """OpenAPI `responses` of the refusals a route can give."""
    return {status: _refusal(status) for status in sorted(statuses)}


def _refusal(status: int) -> dict[str, Any]:
    meanings = [kind.meaning for kind in KINDS.values() if kind.status == status]
    schema = {"$ref": "#/components/schemas/ProblemOut"}
    return {"description": " ".join(meanings), "content": {MEDIA_TYPE: {"schema": schema}}}


def describe(app: FastAPI) -> None:
    """Make the document when first asked for, with the problem shape in it."""

    def openapi() -> dict[str, Any]:
        if app.openapi_schema is None:
            app.openapi_schema = _document(app)
        return app.openapi_schema

    app.openapi = openapi  # type: ignore[method-assign]


def _document(app: FastAPI) -> dict[str, Any]:
    document = get_openapi(
        title=app.title,
        version=app.version,
        description=app.description,
        routes=app.routes,
        license_info={"name": "Apache-2.0", "identifier": "Apache-2.0"},
        tags=TAGS,
    )
    components = document.setdefault("components", {})
    schemas = components.setdefault("schemas", {})
    problem = ProblemOut.model_json_schema(ref_template="#/components/schemas/{model}")
    schemas.update(problem.pop("$defs", {}))
    schemas["ProblemOut"] = problem
    # The framework's own shape of a 422, which never leaves this server.
    for unused in ("HTTPValidationError", "ValidationError"):
        schemas.pop(unused, None)
    components["securitySchemes"] = {
        _SCHEME: {
            "type": "http",
            "scheme": "bearer",
            "description": "A token of your own, `Authorization: Bearer …`.",
        }
    }
    return document


def needs_token() -> dict[str, Any]:
    """`openapi_extra` of a route that is closed without a token."""
    return {"security": [{_SCHEME: []}]}


def operation_id(route: APIRoute) -> str:
    """The function's name, which is unique in the API and reads well in a client."""
    return route.name


TAGS = [
    {"name": "appliances", "description": "Models as sold, their plates and printed claims."},
    {"name": "specimens", "description": "Single pieces of an appliance under test."},
    {"name": "rigs", "description": "What a run is measured with, in revisions."},
    {"name": "runs", "description": "Bench runs: sending one, its figures, its file."},
    {"name": "uploads", "description": "Large files in pieces, to go on after an interruption."},
    {"name": "compare", "description": "Two to six appliances side by side."},
    {"name": "live", "description": "Tests that others may watch while they go on."},
    {"name": "moderation", "description": "The desk, reports, answers to claims."},
    {"name": "people", "description": "Who a token belongs to; one's own tokens."},
    {"name": "journal", "description": "The journal's signed heads."},
    {"name": "problems", "description": "What the `type` of a problem document means."},
]
