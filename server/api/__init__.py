"""JSON over HTTP, under /api/v1."""

from fastapi import APIRouter

from server.api import catalogue, problem_kinds, run_parts, runs
from server.api.openapi import operation_id, refusals

router = APIRouter(
    prefix="/api/v1", generate_unique_id_function=operation_id, responses=refusals(422, 500)
)
for part in (catalogue, runs, run_parts, problem_kinds):
    router.include_router(part.router)
