"""Open answers kept as bytes, sent again only while nothing at all was committed since.

What everybody may see is the same for all who send neither token nor cookie. The database tells
in microseconds whether there was a commit; the number is read before an answer is made, so one
that was overtaken by a change is never used. A page's nonce is put in anew each time.
"""

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from starlette.types import ASGIApp, Message, Receive, Scope, Send

from server.dependencies.validators import etag_of, names_etag

Headers = list[tuple[bytes, bytes]]
Key = tuple[str, bytes, str, bytes]
_KEPT_TYPES = (b"text/html", b"application/json")
_UNCHANGED = {b"etag", b"cache-control", b"vary", b"link"}
# What an answer takes beside its body.
_OVERHEAD_BYTES = 2048
# In a request's state: the answer was made, and then told as one that the asker has already.
IS_UNCHANGED = "is_unchanged"


@dataclass(frozen=True, slots=True)
class _Kept:
    """`body` None: only that it is unchanged was asked so far."""

    version: int
    headers: Headers
    body: bytes | None
    nonce: bytes
    etag: str


class KeptAnswers:
    def __init__(
        self, app: ASGIApp, *, version: Callable[[], int | None] | None, max_bytes: int
    ) -> None:
        self.app = app
        self._version = version if max_bytes > 0 else None
        self._max_bytes = max_bytes
        self._n_bytes = 0
        self._kept: OrderedDict[Key, _Kept] = OrderedDict()

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "GET":
            await self.app(scope, receive, send)
            return
        given = dict(scope["headers"])
        is_open = b"authorization" not in given and b"cookie" not in given
        version = self._version() if is_open and self._version is not None else None
        key = (scope["scheme"], given.get(b"host", b""), scope["path"], scope["query_string"])
        nonce = scope["state"]["csp_nonce"].encode()
        asked = given.get(b"if-none-match")
        kept = self._kept.get(key)
        if kept is not None and version is not None and kept.version == version:
            if _names(asked, kept.etag):
                self._kept.move_to_end(key)
                await _send_unchanged(kept.headers, send)
                return
            if kept.body is not None:
                self._kept.move_to_end(key)
                await _send_kept(kept.headers, kept.body.replace(kept.nonce, nonce), send)
                return
        answer = _Collected(send, asked, nonce, is_open=is_open, state=scope["state"])
        await self.app(scope, receive, answer.send)
        if version is not None and answer.whole is not None:
            headers, body, etag = answer.whole
            self._keep(key, _Kept(version, headers, body, nonce, etag))

    def _keep(self, key: Key, kept: _Kept) -> None:
        before = self._kept.pop(key, None)
        self._kept[key] = kept
        self._n_bytes += _size(kept) - (_size(before) if before is not None else 0)
        while self._n_bytes > self._max_bytes:
            _, oldest = self._kept.popitem(last=False)
            self._n_bytes -= _size(oldest)


def _size(kept: _Kept) -> int:
    return len(kept.body or b"") + _OVERHEAD_BYTES


def _names(asked: bytes | None, etag: str) -> bool:
    return asked is not None and names_etag(asked.decode("latin-1"), etag)


async def _send_kept(headers: Headers, body: bytes, send: Send) -> None:
    await send({"type": "http.response.start", "status": 200, "headers": list(headers)})
    await send({"type": "http.response.body", "body": body})


async def _send_unchanged(headers: Headers, send: Send) -> None:
    told = [(name, value) for name, value in headers if name in _UNCHANGED]
    await send({"type": "http.response.start", "status": 304, "headers": told})
    await send({"type": "http.response.body", "body": b""})


class _Collected:
    """One answer on its way. Pages get their ETag here, from what they hold beside the nonce."""

    def __init__(
        self, send: Send, asked: bytes | None, nonce: bytes, *, is_open: bool, state: dict[str, Any]
    ) -> None:
        self.whole: tuple[Headers, bytes | None, str] | None = None
        self._send = send
        self._asked = asked
        self._nonce = nonce
        self._is_open = is_open
        self._state = state
        self._start: Message | None = None

    async def send(self, message: Message) -> None:
        if message["type"] == "http.response.start":
            if _may_be_kept(message):
                self._start = message
                return
            etag = dict(message["headers"]).get(b"etag")
            if message["status"] == 304 and etag is not None and self._is_open:
                self.whole = (list(message["headers"]), None, etag.decode("latin-1"))
        elif self._start is not None:
            start, self._start = self._start, None
            body = message.get("body", b"")
            if not message.get("more_body", False):
                await self._send_whole(start, body)
                return
            await self._send(start)
        await self._send(message)

    async def _send_whole(self, start: Message, body: bytes) -> None:
        headers: Headers = list(start["headers"])
        given = dict(headers)
        if b"etag" not in given:
            mark = etag_of(body.replace(self._nonce, b""))
            reach = b"public, no-cache" if self._is_open else b"private, no-cache"
            headers.append((b"etag", mark.encode()))
            headers += [
                (name, value)
                for name, value in (
                    (b"cache-control", reach),
                    (b"vary", b"Authorization, Cookie"),
                )
                if name not in given
            ]
            given = dict(headers)
        etag = given[b"etag"].decode("latin-1")
        if self._is_open and b"set-cookie" not in given:
            self.whole = (headers, body, etag)
        if _names(self._asked, etag):
            self._state[IS_UNCHANGED] = True
            await _send_unchanged(headers, self._send)
        else:
            await _send_kept(headers, body, self._send)


def _may_be_kept(start: Message) -> bool:
    """A whole page or JSON answer that does not forbid it."""
    given = dict(start["headers"])
    return (
        start["status"] == 200
        and given.get(b"content-type", b"").startswith(_KEPT_TYPES)
        and b"content-encoding" not in given
        and b"no-store" not in given.get(b"cache-control", b"")
    )
