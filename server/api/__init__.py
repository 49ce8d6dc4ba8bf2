"""JSON over HTTP, under /api/v1."""

from fastapi import APIRouter

from server.api import (
    appliances,
    bench,
    catalogue,
    command_sign_ins,
    compare,
    concerns,
    desk,
    journal,
    live,
    people,
    pooled,
    problem_kinds,
    run_parts,
    run_revisions,
    run_versions,
    runs,
    things,
    uploads,
)

router = APIRouter()
parts = (
    catalogue,
    appliances,
    pooled,
    things,
    runs,
    run_parts,
    run_versions,
    run_revisions,
    uploads,
    compare,
    live,
    people,
    command_sign_ins,
    bench,
    desk,
    concerns,
    journal,
    problem_kinds,
)
for part in parts:
    router.include_router(part.router)
