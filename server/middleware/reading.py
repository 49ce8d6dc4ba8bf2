"""Who reads in bulk from one address is told to slow down.

Only what was made for somebody counts: kept answers never come here, and one that the asker has
already is taken off again. A table weighs as much as many pages. What a test tells once a second
while it goes on is not counted; neither are static files.
"""

from collections.abc import Callable
from urllib.parse import parse_qs

from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.dependencies.limits import Limits, client_address
from server.errors import TooMany
from server.middleware.kept import IS_UNCHANGED
from server.static_files import PREFIX

_UNCOUNTED = (f"{PREFIX}/", "/healthz", "/live/", "/api/v1/live/")
TABLE_WEIGHT = 10
# A list of more rows than it has by itself is a table.
_LIST_ROWS = 50


class CountedReading:
    def __init__(
        self, app: ASGIApp, *, limits: Limits, answer: Callable[[Request, Exception], Response]
    ) -> None:
        self.app = app
        self.limits = limits
        self.answer = answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        is_read = scope["type"] == "http" and scope["method"] == "GET"
        if not is_read or scope["path"].startswith(_UNCOUNTED):
            await self.app(scope, receive, send)
            return
        request = Request(scope)
        address = client_address(request)
        try:
            self.limits.count_reading(address)
        except TooMany as refusal:
            await self.answer(request, refusal)(scope, receive, send)
            return
        weight = 1

        async def send_weighed(message: Message) -> None:
            nonlocal weight
            if message["type"] == "http.response.start":
                weight = _weight(scope, message)
            await send(message)

        await self.app(scope, receive, send_weighed)
        if scope["state"].get(IS_UNCHANGED):
            weight = 0
        if weight != 1:
            self.limits.weigh_reading(address, weight - 1)


def _weight(scope: Scope, start: Message) -> int:
    if start["status"] == 304:
        return 0
    if start["status"] != 200 or not scope["path"].startswith("/api/"):
        return 1
    kind = dict(start["headers"]).get(b"content-type", b"")
    rows = parse_qs(scope["query_string"].decode("latin-1")).get("limit", [""])[-1]
    is_long = rows.isdecimal() and len(rows) < 10 and int(rows) > _LIST_ROWS
    return TABLE_WEIGHT if kind.startswith(b"text/csv") or is_long else 1
