"""The page where others watch a test: complete as it comes, kept up to date by a small script."""

import re
from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, Response

from server import __version__
from server.charts import figure_svg
from server.charts.live import live_trace
from server.dependencies import ReadSession, Viewer
from server.dependencies.validators import etag_of, names_etag
from server.errors import NotFound
from server.model.live import LiveView
from server.pages.request import site_of
from server.pages.shapes import FigureShown, Head, Link
from server.pages.templating import render
from server.store.live import GONE, live_stamp, live_view
from server.wording.counts import show_moment
from server.wording.live import (
    CAVEAT,
    UNREVIEWED,
    lines_sentence,
    live_label,
    live_rows,
    show_seconds,
)

router = APIRouter()

_ADDRESS = re.compile(r"[A-Za-z0-9_-]{20,64}")
_SMALL_PX = 328


@dataclass(frozen=True, slots=True)
class LiveRow:
    label: str
    now: str
    highest: str


@dataclass(frozen=True, slots=True)
class LivePage:
    """`is_running`: worth asking again. `figure` None: nothing is drawn yet."""

    head: Head
    title: str
    standing: str
    tester: str
    is_running: bool
    test_time: str
    told_at: str
    told_iso: str
    rows: tuple[LiveRow, ...]
    lines: str
    figure: FigureShown | None
    run: Link | None
    expires: str
    caveat: str
    now_href: str


def live_page(view: LiveView) -> LivePage:
    title = view.title or "A bench test"
    readings = view.readings
    spec = live_trace(readings)
    path = f"/live/{view.address}"
    return LivePage(
        head=Head(
            title=f"{title}, as it goes on",
            description=UNREVIEWED,
            path=path,
            json_path=f"/api/v1{path}",
            is_indexed=False,
        ),
        title=title,
        standing=UNREVIEWED,
        tester=view.tester,
        is_running=view.ended_at is None,
        test_time=show_seconds(readings.at_s),
        told_at=show_moment(view.updated_at),
        told_iso=view.updated_at.isoformat(timespec="seconds"),
        rows=tuple(LiveRow(live_label(q), now, high) for q, now, high in live_rows(readings)),
        lines=lines_sentence(readings.n_lines, readings.n_unreadable),
        figure=None
        if spec.empty
        else FigureShown(spec.id, None, "", "", figure_svg(spec, width=_SMALL_PX), spec.table),
        run=Link("The run with its figures", f"/runs/{view.run_id}") if view.run_id else None,
        expires=show_moment(view.expires_at),
        caveat=CAVEAT,
        now_href=f"{path}/now",
    )


@router.get("/live/{address}")
def live(request: Request, address: str, session: ReadSession, viewer: Viewer) -> Response:
    headers = _headers(session, "page", address, viewer.public_id if viewer else "")
    if (known := _known(request, headers)) is not None:
        return known
    page = live_page(live_view(session, address=address))
    response = render(request, "live.html", page, site=site_of(request, viewer))
    # A page that shows who is signed in has its validator from its content.
    response.headers.update(headers if viewer is None else _UNLISTED)
    return response


@router.get("/live/{address}/now")
def live_now(request: Request, address: str, session: ReadSession) -> Response:
    """The part of the page that changes, for its script: the same to the letter."""
    headers = _headers(session, "now", address, "")
    if (known := _known(request, headers)) is not None:
        return known
    page = live_page(live_view(session, address=address))
    response: HTMLResponse = render(request, "_live_now.html", page, site=site_of(request))
    response.headers.update(headers)
    return response


_UNLISTED = {"X-Robots-Tag": "noindex, nofollow"}


def _headers(session: ReadSession, part: str, address: str, who: str) -> dict[str, str]:
    """Raises NotFound where there is no test, or it has expired."""
    found = live_stamp(session, address=address) if _ADDRESS.fullmatch(address) else None
    if found is None:
        raise NotFound(GONE)
    return {
        "ETag": etag_of(__version__, part, address, found, who),
        "Cache-Control": "private, no-cache" if who else "public, no-cache",
        "Vary": "Authorization, Cookie",
        **_UNLISTED,
    }


def _known(request: Request, headers: dict[str, str]) -> Response | None:
    asked = request.headers.get("if-none-match")
    if asked is None or not names_etag(asked, headers["ETag"]):
        return None
    return Response(status_code=304, headers=headers)
