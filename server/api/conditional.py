"""ETag and 304: an answer that has not changed is not made again."""

import hashlib

from fastapi import Request, Response
from pydantic import BaseModel

# May be kept, is asked after each time; what depends on who asks stays with who asked.
_OPEN = "public, no-cache"
_OWN = "private, no-cache"


def etag_of(*parts: object) -> str:
    """A weak validator: the same content, whatever its compression."""
    marks = b"\x1f".join(p if isinstance(p, bytes) else str(p).encode() for p in parts)
    digest = hashlib.sha256(marks).hexdigest()
    return f'W/"{digest[:24]}"'


def matches(request: Request, etag: str) -> bool:
    """Whether If-None-Match names this validator, by weak comparison (RFC 9110, 13.1.2)."""
    sent = request.headers.get("if-none-match")
    if sent is None:
        return False
    plain = etag.removeprefix("W/")
    return sent.strip() == "*" or any(
        one.strip().removeprefix("W/") == plain for one in sent.split(",")
    )


def cache_headers(etag: str, *, is_own: bool) -> dict[str, str]:
    return {
        "ETag": etag,
        "Cache-Control": _OWN if is_own else _OPEN,
        "Vary": "Authorization, Cookie",
    }


def unchanged(
    request: Request, response: Response, *parts: object, is_own: bool = False
) -> Response | None:
    """A 304 if the asker has this version already; else None, and `response` carries the ETag."""
    etag = etag_of(*parts)
    headers = cache_headers(etag, is_own=is_own)
    if matches(request, etag):
        return Response(status_code=304, headers=headers)
    response.headers.update(headers)
    return None


def answer(request: Request, content: BaseModel, *, is_own: bool = False) -> Response:
    """The shape as JSON under the digest of its bytes; 304 if the asker has just these.

    For lists, whose rows change one by one. Written here, the answer is made in one go in the
    endpoint's thread.
    """
    body = content.__pydantic_serializer__.to_json(content)
    headers = cache_headers(etag_of(body), is_own=is_own)
    if matches(request, headers["ETag"]):
        return Response(status_code=304, headers=headers)
    return Response(body, media_type="application/json", headers=headers)
