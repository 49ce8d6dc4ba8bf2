"""ETag and 304: an answer that has not changed is not made again."""

from fastapi import Request, Response
from pydantic import BaseModel

from server.dependencies.validators import etag_of, names_etag

# May be kept, is asked after each time; what depends on who asks stays with who asked.
_OPEN = "public, no-cache"
_OWN = "private, no-cache"


def matches(request: Request, etag: str) -> bool:
    sent = request.headers.get("if-none-match")
    return sent is not None and names_etag(sent, etag)


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
