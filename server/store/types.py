"""Column types that mean the same on SQLite and PostgreSQL."""

import math
from datetime import UTC, datetime
from typing import Any

import orjson
from sqlalchemy import DateTime, Dialect, Double, Text, TypeDecorator
from sqlalchemy.exc import DontWrapMixin

from server.errors import InvalidInput, Problem

JSON_OPTIONS = orjson.OPT_SORT_KEYS | orjson.OPT_NON_STR_KEYS


def dump_json(value: object) -> bytes:
    """Canonical JSON: sorted keys, dataclasses and enums by value.

    Raises InvalidInput for text that is not valid Unicode.
    """
    try:
        return orjson.dumps(value, option=JSON_OPTIONS)
    except orjson.JSONEncodeError as error:
        if "surrogates" in str(error):
            raise _unstorable() from error
        raise


def load_json(text: str | bytes) -> Any:
    """Raises ValueError for what is not JSON."""
    return orjson.loads(text)


def plain_json(value: object) -> Any:
    """What a value is once it was written as JSON and read back: dates and enums as text."""
    return orjson.loads(dump_json(value))


class UtcDateTime(TypeDecorator[datetime]):
    """An aware time in UTC. SQLite keeps no zone, so it is put back when read."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        if value.tzinfo is None:
            raise ValueError("a time without a zone can't be stored")
        in_utc = value.astimezone(UTC)
        return in_utc.replace(tzinfo=None) if dialect.name == "sqlite" else in_utc

    def process_result_value(self, value: datetime | None, dialect: Dialect) -> datetime | None:
        if value is None:
            return None
        return value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)


class Words(TypeDecorator[str]):
    """Text. Refuses what one of the databases can't hold: NUL and halves of surrogate pairs."""

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:
        if value is not None and not value.isascii():
            check_words(value)
        elif value is not None and "\0" in value:
            raise _unstorable()
        return value


# Text that is sorted or searched by its beginning: by code points on both databases.
ORDERED_WORDS = Text().with_variant(Text(collation="C"), "postgresql")


def check_words(value: str) -> None:
    if "\0" in value or any("\ud800" <= c <= "\udfff" for c in value):
        raise _unstorable()


class UnstorableText(InvalidInput, DontWrapMixin):
    """Refused while a statement's values are bound, and handed on as it is."""


def _unstorable() -> UnstorableText:
    problem = Problem("a text holds characters that can't be stored.", "Type it again.")
    return UnstorableText("text", [problem])


class Finite(TypeDecorator[float]):
    """A double that is never NaN or infinite: SQLite would turn NaN into NULL in silence."""

    impl = Double
    cache_ok = True

    def process_bind_param(self, value: float | None, dialect: Dialect) -> float | None:
        if value is not None and not math.isfinite(value):
            raise ValueError(f"{value} can't be stored: figures are finite or absent")
        return value


class Json(TypeDecorator[Any]):
    """JSON as text through orjson: the same bytes on both databases.

    orjson writes NaN as null; figures that could be NaN never come here (reduction's rule), and
    `Finite` guards the columns that are compared.
    """

    impl = Text
    cache_ok = True

    def process_bind_param(self, value: object, dialect: Dialect) -> str | None:
        if value is None:
            return None
        text = dump_json(value).decode()
        if "\\u0000" in text:
            raise _unstorable()
        return text

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else orjson.loads(value)
