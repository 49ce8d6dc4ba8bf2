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

router = APIRouter()
for part in (catalogue, appliances, things, runs, run_parts, compare, people, problem_kinds):
    router.include_router(part.router)
