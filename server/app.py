"""The web application: made by `create_app(settings)`, nothing at import."""

from collections.abc import AsyncIterator, Callable, Iterator
from contextlib import asynccontextmanager

from anyio import to_thread
from fastapi import APIRouter, FastAPI, Request
from fastapi.responses import JSONResponse, Response
from fastapi.routing import APIRoute
from starlette.requests import ClientDisconnect
from starlette.types import Scope
from starlette_compress import CompressMiddleware

from server import __version__
from server.api import router as api_router
from server.api.openapi import DESCRIPTION, describe
from server.dependencies import ReadSession
from server.dependencies.limits import Limits
from server.dependencies.pieces import PIECE_BYTES
from server.dependencies.resources import make_resources
from server.middleware import BodyLimit, DefectsAnswered, EdgeHeaders, HeadAsGet, SlowSenders
from server.middleware.kept import KeptAnswers
from server.middleware.reading import CountedReading
from server.pages import router as pages_router
from server.pages.send_photos import MOST_BYTES as PHOTO_BYTES
from server.problems import answer_defect, answer_refusal, install_problem_handlers
from server.settings import Settings
from server.static_files import PREFIX, static_app
from server.store.change_counter import change_counter
from server.store.database import ping

# What a body may hold that carries no log: a form or a JSON document.
_SMALL_BODY_BYTES = 1 << 20
# Room for the other parts of a multipart upload and for what frames them.
_FRAME_BYTES = 4 << 20
_UPLOADS = ("/api/v1/runs", "/send")
_PIECES = ("/api/v1/uploads/", "/send/pieces/")


def create_app(settings: Settings | None = None, *, n_processes: int = 1) -> FastAPI:
    """The whole service over one database. Settings are read here, not at import.

    `n_processes`: how many web processes serve together; without a shared store each takes its
    share of every limit.
    """
    settings = settings or Settings()
    app = FastAPI(
        title="Benchledger",
        version=__version__,
        description=DESCRIPTION,
        openapi_url="/api/v1/openapi.json",
        docs_url=None,
        redoc_url=None,
        lifespan=_lifespan,
        redirect_slashes=False,
        swagger_ui_oauth2_redirect_url=None,
    )
    app.state.settings = settings
    app.state.resources = make_resources(settings)
    limits = app.state.limits = Limits(settings, n_processes=n_processes)
    install_problem_handlers(app)
    app.add_exception_handler(ClientDisconnect, _on_disconnect)
    app.add_api_route("/healthz", healthz, include_in_schema=False)
    app.router.routes.extend(flat_routes(api_router))
    for route in flat_routes(pages_router):
        route.include_in_schema = False
        app.router.routes.append(route)
    app.mount(PREFIX, static_app(), name="static")
    # The last added is the outermost.
    app.add_middleware(BodyLimit, limit_for=_limits(settings))
    app.add_middleware(
        SlowSenders,
        patience_s=settings.sender_patience_s,
        least_bytes_per_s=settings.sender_bytes_per_s,
    )
    if limits.counts_reading:
        app.add_middleware(CountedReading, limits=limits, answer=answer_refusal)
    app.add_middleware(
        KeptAnswers,
        version=change_counter(app.state.resources.engine),
        max_bytes=settings.kept_bytes,
    )
    app.add_middleware(CompressMiddleware, minimum_size=600, brotli_quality=5)
    app.add_middleware(HeadAsGet)
    app.add_middleware(DefectsAnswered, answer=answer_defect)
    app.add_middleware(EdgeHeaders, over_tls=settings.secure_cookies)
    describe(app)
    return app


def flat_routes(router: APIRouter) -> Iterator[APIRoute]:
    """The routes of a router and of those it includes, one by one.

    Included routers are searched three times for each request (two levels: nine); sixty routes
    cost more that way than many an answer. Ours carry their whole address, so nothing is lost.
    """
    for route in router.routes:
        included: APIRouter | None = getattr(route, "original_router", None)
        if included is not None:
            yield from flat_routes(included)
        else:
            assert isinstance(route, APIRoute)
            yield route


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    # More threads than this only take turns at the interpreter's lock: readers wait longer.
    to_thread.current_default_thread_limiter().total_tokens = app.state.settings.web_threads
    yield
    app.state.resources.recordings.close()
    app.state.resources.engine.dispose()


def healthz(read: ReadSession) -> Response:
    """200 when the database answers."""
    ping(read)
    return JSONResponse({"status": "ready"}, headers={"Cache-Control": "no-store"})


def _limits(settings: Settings) -> Callable[[Scope], tuple[int, str]]:
    def limit_for(scope: Scope) -> tuple[int, str]:
        if scope["path"] in _UPLOADS:
            return settings.max_upload_bytes + _FRAME_BYTES, "BENCHLEDGER_MAX_UPLOAD_BYTES"
        if scope["path"].startswith(_PIECES):
            return PIECE_BYTES, "the most a piece may have"
        if scope["path"].startswith("/send/") and scope["path"].endswith("/photos"):
            return PHOTO_BYTES + _FRAME_BYTES, "the most a photograph may have"
        return _SMALL_BODY_BYTES, "a body without a log"

    return limit_for


def _on_disconnect(_request: Request, _error: Exception) -> Response:
    """The sender hung up; nobody hears this answer."""
    return Response(status_code=400)
