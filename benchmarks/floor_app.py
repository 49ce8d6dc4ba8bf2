"""The service plus floors beside it: the same answers from constants, with the raw query only.

`python -m benchmarks.floor_app FD` serves on an inherited socket; settings as the service's own.
"""

import os
import socket
import sqlite3
import sys
from typing import Any

import uvicorn
from fastapi import FastAPI, Request, Response
from fastapi.encoders import jsonable_encoder

from server.api import outs
from server.api.shapes import ListOut
from server.api.thing_shapes import ListingOut
from server.app import create_app
from server.model.views import CatalogueFilter
from server.pages import templating
from server.settings import Settings
from server.store.catalogue import list_catalogue
from server.store.database import read_session

RAW = """SELECT public_id, slug, maker, model, model_number, category, printed_power_w,
 printed_power_typed, n_runs, run_public_id, figures, ratio FROM listing
 ORDER BY updated_at DESC, appliance_id DESC LIMIT 51"""
RAW_SEARCH = """SELECT public_id, slug, maker, model, model_number, category, printed_power_w,
 printed_power_typed, n_runs, run_public_id, figures, ratio FROM listing
 WHERE ratio IS NOT NULL AND EXISTS (SELECT 1 FROM listing_word w
 WHERE w.appliance_id = listing.appliance_id AND w.word >= ? AND w.word < ?)
 ORDER BY ratio DESC, appliance_id DESC LIMIT 51"""
RAW_CURVES = """SELECT m.points, m.curves FROM listing l JOIN metric_set m
 ON m.id = l.metric_set_id WHERE l.public_id IN ({})"""


NOT_KEPT = {"Cache-Control": "no-store"}  # a floor is made anew each time


def floors(settings: Settings) -> FastAPI:
    """The app with `/floor/…` added. The first answer of a page is caught and kept as constants."""
    app = create_app(settings)
    engine = app.state.resources.engine
    database = settings.data / "benchledger.sqlite3"
    caught: dict[str, tuple[Any, Any]] = {}
    original = templating.render_text

    def catching(template: str, *, page: Any, site: Any) -> str:
        caught[template] = (page, site)
        return original(template, page=page, site=site)

    templating.render_text = catching
    with read_session(engine) as session:
        found = list_catalogue(session, filters=CatalogueFilter())
    items = [jsonable_encoder(outs.listing(row)) for row in found.items]

    def raw(query: str, *values: Any) -> list[Any]:
        connection = sqlite3.connect(database, check_same_thread=False)
        try:
            return connection.execute(query, values).fetchall()
        finally:
            connection.close()

    @app.get("/floor/page/{template}")
    def page(request: Request, template: str, ids: str = "", text: str = "") -> Response:
        chosen = ids.split(",") if ids else []
        query = RAW_CURVES.format(",".join("?" * len(chosen))) if chosen else RAW
        if text:
            query, chosen = RAW_SEARCH, [text, text + "\U0010ffff"]
        raw(query, *chosen)
        context, site = caught[template]
        text = original(template, page=context, site=site)
        return Response(text, media_type="text/html", headers=NOT_KEPT)

    @app.get("/floor/api", response_model=ListOut[ListingOut])
    def api(response: Response) -> Any:
        response.headers.update(NOT_KEPT)
        raw(RAW)
        return {"items": items, "next": None}

    @app.get("/floor/dict")
    def small(response: Response) -> dict[str, str]:
        response.headers.update(NOT_KEPT)
        return {"status": "same"}

    # Before the pages' own routes, which end in a catch-all.
    own = [r for r in app.router.routes if getattr(r, "path", "").startswith("/floor")]
    app.router.routes[:] = own + [r for r in app.router.routes if r not in own]
    return app


def main() -> None:
    listener = socket.socket(fileno=int(sys.argv[1]))
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    config = uvicorn.Config(floors(Settings()), log_level="warning", access_log=False)
    uvicorn.Server(config).run(sockets=[listener])


if __name__ == "__main__":
    main()
