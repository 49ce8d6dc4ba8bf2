"""HTML over HTTP: one frozen context per template; every text in it is made before it is shown."""

from fastapi import APIRouter

from server.pages import reading

router = APIRouter()
for part in (reading,):
    router.include_router(part.router)
