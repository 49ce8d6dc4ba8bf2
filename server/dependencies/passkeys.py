"""Which site passkeys belong to."""

from urllib.parse import urlsplit

from fastapi import Request

from server.credentials.passkeys import RelyingParty
from server.dependencies.letters import site_origin


def relying_party(request: Request) -> RelyingParty:
    """By the address of the settings; without one, by the request's own: a browser names no other
    site's there, and the signature holds which it was."""
    origin = site_origin(request)
    parts = urlsplit(origin)
    return RelyingParty(id=parts.hostname or "localhost", origin=f"{parts.scheme}://{parts.netloc}")
