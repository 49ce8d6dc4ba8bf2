"""Keyset paging: a cursor holds the sort values of the last row shown, opaque to the reader."""

import base64
import binascii
from collections.abc import Callable, Sequence
from datetime import datetime
from typing import Any, TypeVar

import orjson
from sqlalchemy import Select, tuple_

from server.errors import InvalidInput, Problem

R = TypeVar("R")


def write_cursor(*values: object) -> str:
    return base64.urlsafe_b64encode(orjson.dumps(list(values))).decode().rstrip("=")


def read_cursor(cursor: str, *kinds: type | tuple[type, ...]) -> list[Any]:
    """The values of a cursor, each of its kind. Raises InvalidInput for one that is not ours."""
    try:
        padded = cursor + "=" * (-len(cursor) % 4)
        values = orjson.loads(base64.b64decode(padded.encode(), altchars=b"-_", validate=True))
    except (ValueError, binascii.Error) as error:
        raise _refusal() from error
    if not isinstance(values, list) or len(values) != len(kinds):
        raise _refusal()
    if not all(isinstance(v, kind) for v, kind in zip(values, kinds, strict=True)):
        raise _refusal()
    # A database integer has 64 bits; a larger one is not from us.
    if any(isinstance(v, int) and abs(v) >= 2**63 for v in values):
        raise _refusal()
    return values


def read_time(text: str) -> datetime:
    try:
        at = datetime.fromisoformat(text)
    except ValueError as error:
        raise _refusal() from error
    if at.tzinfo is None:
        raise _refusal()
    return at


def _refusal() -> InvalidInput:
    problem = Problem(
        "it is not one of this service.", "Start from the first page.", field="cursor"
    )
    return InvalidInput("list", [problem])


def newest_first(
    query: Select[*tuple[Any, ...]], at: Any, key: Any, *, cursor: str | None, limit: int
) -> tuple[Select[*tuple[Any, ...]], Callable[[Sequence[Any]], tuple[Sequence[Any], str | None]]]:
    """A query in falling order of a time and a key, from the cursor on; and what cuts the page.

    The selected rows must have the time as `created_at` and the key as `id`.
    """
    if cursor is not None:
        time_text, last = read_cursor(cursor, str, int)
        query = query.where(tuple_(at, key) < tuple_(read_time(time_text), last))
    query = query.order_by(at.desc(), key.desc()).limit(limit + 1)

    def page(rows: Sequence[Any]) -> tuple[Sequence[Any], str | None]:
        if len(rows) <= limit:
            return rows, None
        last = rows[limit - 1]
        return rows[:limit], write_cursor(last.created_at.isoformat(), last.id)

    return query, page
