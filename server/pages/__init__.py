"""HTML over HTTP: one frozen context per template; every text in it is made before it is shown."""

from fastapi import APIRouter

from server.pages import account, compare, following, reading, send, things, version

router = APIRouter()
for part in (reading, things, following, version, compare, account, send):
    router.include_router(part.router)
