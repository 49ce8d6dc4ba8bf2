"""The routes of moderation together: the desk, reports, claims with what was answered to them."""

from fastapi import APIRouter

from server.pages import (
    claim,
    desk,
    desk_acts,
    desk_concerns,
    desk_practice,
    desk_things,
    desk_together,
    reports,
)

router = APIRouter()
for part in (
    claim,
    desk,
    desk_together,
    desk_things,
    desk_practice,
    desk_acts,
    desk_concerns,
    reports,
):
    router.include_router(part.router)
