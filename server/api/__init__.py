"""JSON over HTTP, under /api/v1."""

from fastapi import APIRouter

from server.api import (
    appliances,
    catalogue,
    compare,
    people,
    problem_kinds,
    run_parts,
    runs,
    things,
)
from server.api.openapi import operation_id, refusals

router = APIRouter(
    prefix="/api/v1", generate_unique_id_function=operation_id, responses=refusals(422, 500)
)
for part in (catalogue, appliances, things, runs, run_parts, compare, people, problem_kinds):
    router.include_router(part.router)
