"""Column types that mean the same on SQLite and PostgreSQL."""

import math
from datetime import UTC, datetime
from typing import Any

import orjson
from sqlalchemy import DateTime, Dialect, Double, Text, TypeDecorator

JSON_OPTIONS = orjson.OPT_SORT_KEYS | orjson.OPT_NON_STR_KEYS


def dump_json(value: object) -> bytes:
    """Canonical JSON: sorted keys, dataclasses and enums by value."""
    return orjson.dumps(value, option=JSON_OPTIONS)


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
        return None if value is None else dump_json(value).decode()

    def process_result_value(self, value: str | None, dialect: Dialect) -> Any:
        return None if value is None else orjson.loads(value)
