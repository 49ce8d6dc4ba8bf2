"""Tests that others may watch while they go on."""

import re
from datetime import datetime
from typing import Annotated, Any, Self

from fastapi import Path, Request, Response
from pydantic import AfterValidator, Field, model_validator

from server import __version__
from server.actions.open_live_test import open_live_test
from server.actions.update_live_test import update_live_test
from server.api.conditional import unchanged
from server.api.exports import NOT_CHANGED
from server.api.openapi import api_router, needs_token, refusals
from server.api.shapes import IdWord, In, Line, Out
from server.dependencies import ReadSession, Writer, WriteSession
from server.errors import NotFound
from server.model.live import LIVE_UNITS, MAX_TRACE_POINTS, LiveQuantity
from server.store.live import GONE, live_stamp, live_view
from server.wording.live import UNREVIEWED

router = api_router("/live", tags=["live"])

_ADDRESS = re.compile(r"[A-Za-z0-9_-]{20,64}")
# Watchers' programs and pages ask again and again: nothing of it belongs into a search.
_UNLISTED = {"X-Robots-Tag": "noindex, nofollow"}


def _usable_address(value: str) -> str:
    if not _ADDRESS.fullmatch(value):
        raise NotFound(GONE)
    return value


Address = Annotated[
    str,
    AfterValidator(_usable_address),
    Path(description="The random address of the test", examples=["qH3v" * 8]),
]
Reading = Annotated[float, Field(ge=-1e9, le=1e9, allow_inf_nan=False)]
Seconds = Annotated[float, Field(ge=0, le=1e8, allow_inf_nan=False)]
Trace = Annotated[list[Reading | None], Field(max_length=MAX_TRACE_POINTS)]


class LiveOpenIn(In):
    title: Line | None = None


class LiveIn(In):
    """What is measured now, in SI. Left out: it stays as it was told last."""

    at_s: Seconds = 0.0
    n_lines: Annotated[int, Field(ge=0, le=10**12)] = 0
    n_unreadable: Annotated[int, Field(ge=0, le=10**12)] = 0
    now: dict[LiveQuantity, Reading] | None = None
    highest: dict[LiveQuantity, Reading] = Field(default_factory=dict)
    trace_s: Annotated[list[Seconds], Field(max_length=MAX_TRACE_POINTS)] = Field(
        default_factory=list
    )
    trace: dict[LiveQuantity, Trace] = Field(default_factory=dict)
    has_ended: bool = False
    run: IdWord | None = None

    @model_validator(mode="after")
    def _goes_together(self) -> Self:
        if any(len(values) != len(self.trace_s) for values in self.trace.values()):
            raise ValueError("every trace needs one value, or null, for each of trace_s")
        return self


class LiveOpenOut(Out):
    """`page` is where others watch; it expires a day after the last word."""

    address: str
    page: str
    expires_at: datetime


class LiveOut(Out):
    """Readings as they come, in SI, unreviewed. `run`: what it became, once that is published."""

    standing: str
    title: str | None
    tester: str
    n_updates: int
    at_s: float
    now: dict[LiveQuantity, float]
    highest: dict[LiveQuantity, float]
    units: dict[LiveQuantity, str]
    trace_s: list[float]
    trace: dict[LiveQuantity, list[float | None]]
    started_at: datetime
    updated_at: datetime
    ended_at: datetime | None
    expires_at: datetime
    run: str | None


@router.post(
    "",
    status_code=201,
    responses=refusals(400, 401, 403, 409, 413),
    openapi_extra=needs_token(),
)
def open_live(tester: Writer, session: WriteSession, sent: LiveOpenIn) -> LiveOpenOut:
    """Begin a test that others may watch, at an address that only you are told."""
    row = open_live_test(session, tester=tester, title=sent.title)
    return LiveOpenOut(address=row.address, page=f"/live/{row.address}", expires_at=row.expires_at)


@router.put(
    "/{address}",
    status_code=204,
    responses=refusals(400, 401, 403, 404, 413),
    openapi_extra=needs_token(),
)
def tell_live(tester: Writer, session: WriteSession, address: Address, sent: LiveIn) -> None:
    """The newest readings of one's own test, about once a second; or that it is over."""
    readings: dict[str, Any] | None = None
    if sent.now is not None:
        readings = sent.model_dump(mode="json", exclude={"has_ended", "run"})
    update_live_test(
        session,
        address=address,
        tester=tester,
        readings=readings,
        has_ended=sent.has_ended,
        run_id=sent.run,
    )


@router.get(
    "/{address}",
    response_model=LiveOut,
    responses={**refusals(404), 304: NOT_CHANGED},
)
def read_live(
    request: Request, response: Response, session: ReadSession, address: Address
) -> LiveOut | Response:
    """A test as it goes on. Ask with `If-None-Match`: it changes about once a second."""
    stamp = live_stamp(session, address=address)
    if stamp is None:
        raise NotFound(GONE)
    fresh = unchanged(request, response, __version__, "live", address, stamp)
    if fresh is not None:
        return fresh
    response.headers.update(_UNLISTED)
    view = live_view(session, address=address)
    readings = view.readings
    return LiveOut(
        standing=UNREVIEWED,
        title=view.title,
        tester=view.tester,
        n_updates=view.n_updates,
        at_s=readings.at_s,
        now=dict(readings.now),
        highest=dict(readings.highest),
        units=LIVE_UNITS,
        trace_s=list(readings.trace_s),
        trace={q: list(values) for q, values in readings.trace.items()},
        started_at=view.started_at,
        updated_at=view.updated_at,
        ended_at=view.ended_at,
        expires_at=view.expires_at,
        run=view.run_id,
    )
