"""The routes of moderation together: the desk, reports, claims with what was answered to them."""

from fastapi import APIRouter

from server.pages import desk, desk_acts, desk_concerns, reports

router = APIRouter()
for part in (desk, desk_acts, desk_concerns, reports):
    router.include_router(part.router)
