"""What every answer passes through. Pure ASGI: a wrapper task per request would halve the rate."""

import re
import secrets
import time
from collections.abc import Callable

import anyio
from starlette.exceptions import HTTPException
from starlette.requests import Request
from starlette.responses import Response
from starlette.types import ASGIApp, Message, Receive, Scope, Send

_PAGE_POLICY = (
    "default-src 'none'; script-src 'self' 'nonce-{nonce}'; style-src 'self' 'nonce-{nonce}'; "
    "img-src 'self' data: blob:; font-src 'self'; connect-src 'self'; manifest-src 'self'; "
    "form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
# An answer that is no page may load and run nothing, whatever a browser takes it for.
_DATA_POLICY = "default-src 'none'; frame-ancestors 'none'; base-uri 'none'; sandbox"
_ALWAYS = {
    "X-Content-Type-Options": "nosniff",
    "Referrer-Policy": "strict-origin-when-cross-origin",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=(), serial=()",
}
_LICENCE = b'<https://creativecommons.org/licenses/by/4.0/>; rel="license"'
_USABLE_REQUEST_ID = re.compile(rb"[A-Za-z0-9._-]{8,64}")


class EdgeHeaders:
    """Give each request an id and a nonce, and each answer the headers that keep it harmless.

    The nonce is in `request.state.csp_nonce`. A 304 carries no policy: the browser would put the
    new nonce beside the kept page, whose scripts name the old one.
    """

    def __init__(self, app: ASGIApp, *, over_tls: bool = False) -> None:
        self.app = app
        told = {**_ALWAYS, "Strict-Transport-Security": "max-age=31536000"} if over_tls else _ALWAYS
        self.always = [(name.lower().encode(), value.encode()) for name, value in told.items()]

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        request_id, nonce = _request_id(scope), secrets.token_urlsafe(16)
        scope.setdefault("state", {}).update(request_id=request_id, csp_nonce=nonce)

        async def send_with_headers(message: Message) -> None:
            if message["type"] == "http.response.start":
                headers = message["headers"] = list(message.get("headers", ()))
                headers.append((b"x-request-id", request_id.encode()))
                given = dict(headers)
                headers += [(name, value) for name, value in self.always if name not in given]
                status = message["status"]
                if status < 400 and scope["path"].startswith("/api/v1/") and b"link" not in given:
                    headers.append((b"link", _LICENCE))
                if status != 304 and b"content-security-policy" not in given:
                    is_page = given.get(b"content-type", b"").startswith(b"text/html")
                    policy = _PAGE_POLICY.format(nonce=nonce) if is_page else _DATA_POLICY
                    headers.append((b"content-security-policy", policy.encode()))
            await send(message)

        await self.app(scope, receive, send_with_headers)


def _request_id(scope: Scope) -> str:
    """The id a proxy gave, if it looks like one, else a new one."""
    for name, value in scope["headers"]:
        if name == b"x-request-id" and _USABLE_REQUEST_ID.fullmatch(value):
            return str(value.decode("ascii"))
    return secrets.token_hex(8)


class DefectsAnswered:
    """Answer a defect of ours, then hand the error on to whoever writes it down.

    The framework answers defects outside of everything that was added to it, so that its answer
    would go out without the headers above.
    """

    def __init__(self, app: ASGIApp, *, answer: Callable[[Request, Exception], Response]) -> None:
        self.app = app
        self.answer = answer

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        has_begun = False

        async def send_noted(message: Message) -> None:
            nonlocal has_begun
            has_begun = True
            await send(message)

        try:
            await self.app(scope, receive, send_noted)
        except Exception as error:
            response = self.answer(Request(scope), error)
            if not has_begun:
                await response(scope, receive, send)
            raise


class HeadAsGet:
    """Answer HEAD as GET without its body: whoever asks for a page's head gets the page's own."""

    def __init__(self, app: ASGIApp) -> None:
        self.app = app

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http" or scope["method"] != "HEAD":
            await self.app(scope, receive, send)
            return

        async def send_without_body(message: Message) -> None:
            if message["type"] == "http.response.body":
                message = {**message, "body": b""}
            await send(message)

        await self.app({**scope, "method": "GET"}, receive, send_without_body)


class BodyLimit:
    """Refuse a body over its limit: at once where its length is told, else when it gets there."""

    def __init__(self, app: ASGIApp, *, limit_for: Callable[[Scope], tuple[int, str]]) -> None:
        self.app = app
        self.limit_for = limit_for

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        limit, setting = self.limit_for(scope)
        refusal = HTTPException(413, f"More than {limit:,} bytes; {setting} sets this limit.")
        told = next((v for n, v in scope["headers"] if n == b"content-length"), None)
        too_long = told is not None and told.isdigit() and int(told) > limit
        n_bytes = 0

        async def receive_counted() -> Message:
            nonlocal n_bytes
            # Raised inside the application, so that the refusal leaves as every other does.
            if too_long:
                raise refusal
            message = await receive()
            if message["type"] == "http.request":
                n_bytes += len(message.get("body", b""))
                if n_bytes > limit:
                    raise refusal
            return message

        await self.app(scope, receive_counted, send)


class SlowSenders:
    """End a request whose body does not come: nothing for a while, or a trickle over all of it.

    Only the time spent waiting counts, so a server that reads slowly blames nobody. Raised inside
    the application, so that what was received is removed as after any other refusal.
    """

    def __init__(self, app: ASGIApp, *, patience_s: float, least_bytes_per_s: float) -> None:
        self.app = app
        self.patience_s = patience_s
        self.least_bytes_per_s = least_bytes_per_s

    async def __call__(self, scope: Scope, receive: Receive, send: Send) -> None:
        if scope["type"] != "http":
            await self.app(scope, receive, send)
            return
        waited_s, n_bytes, is_whole = 0.0, 0, False

        async def receive_in_time() -> Message:
            nonlocal waited_s, n_bytes, is_whole
            if is_whole:  # what comes now is the word that the asker hung up
                return await receive()
            since = time.monotonic()
            message: Message | None = None
            with anyio.move_on_after(self.patience_s):
                message = await receive()
            waited_s += time.monotonic() - since
            if message is not None:
                n_bytes += len(message.get("body", b""))
                is_whole = not message.get("more_body", False)
            is_trickle = waited_s > self.patience_s and not is_whole
            if message is None or (is_trickle and n_bytes < waited_s * self.least_bytes_per_s):
                raise HTTPException(
                    408,
                    f"The body came too slowly: {n_bytes:,} bytes in {waited_s:.0f} s. Send it "
                    "again, or in pieces.",
                    headers={"Connection": "close"},
                )
            return message

        await self.app(scope, receive_in_time, send)
