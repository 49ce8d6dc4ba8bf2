"""ETags: made and compared in one place (RFC 9110, 8.8.3 and 13.1.2)."""

import hashlib


def etag_of(*parts: object) -> str:
    """A weak validator: the same content, whatever its compression."""
    marks = b"\x1f".join(p if isinstance(p, bytes) else str(p).encode() for p in parts)
    digest = hashlib.sha256(marks).hexdigest()
    return f'W/"{digest[:24]}"'


def names_etag(if_none_match: str, etag: str) -> bool:
    """Whether an If-None-Match names this validator, by weak comparison."""
    plain = etag.removeprefix("W/")
    return if_none_match.strip() == "*" or any(
        one.strip().removeprefix("W/") == plain for one in if_none_match.split(",")
    )
