"""The declarative root, the naming convention and the columns that many tables share."""

from datetime import date, datetime
from typing import Annotated, Any, ClassVar

from sqlalchemy import BigInteger, Date, ForeignKey, Integer, MetaData
from sqlalchemy.orm import DeclarativeBase, mapped_column

from server.store.types import Finite, Json, UtcDateTime, Words

NAMING = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}

# SQLite gives a row id only to INTEGER, PostgreSQL needs BIGINT to last.
BIG = BigInteger().with_variant(Integer, "sqlite")

Key = Annotated[int, mapped_column(BIG, primary_key=True)]
PublicId = Annotated[str, mapped_column(Words, unique=True)]
JsonDict = Annotated[dict[str, Any], mapped_column(Json)]
JsonList = Annotated[list[Any], mapped_column(Json)]


class Table(DeclarativeBase):
    """No relationships are declared: every query states its joins, so nothing loads lazily."""

    metadata = MetaData(naming_convention=NAMING)
    type_annotation_map: ClassVar[dict[Any, Any]] = {
        str: Words,
        int: BIG,
        float: Finite,
        datetime: UtcDateTime,
        date: Date,
    }


def one_of(column: str, words: type) -> str:
    """SQL of a check that a column holds one of an enum's values."""
    listed = ", ".join(f"'{word.value}'" for word in words)  # type: ignore[attr-defined]
    return f"{column} IN ({listed})"


__all__ = ["BIG", "ForeignKey", "JsonDict", "JsonList", "Key", "PublicId", "Table", "one_of"]
