"""The whole database as lines of JSON, the same from SQLite and PostgreSQL, and back.

A table's first line names its columns; each further line is a row. Times are ISO 8601 in UTC.
Read and written through the tables as they stand in the database, not through today's classes, so
that an older backup fits after it was migrated to its own revision.
"""

from collections.abc import Iterable, Iterator, Sequence
from datetime import UTC, date, datetime
from itertools import islice
from typing import Any

import orjson
from sqlalchemy import (
    Connection,
    Date,
    DateTime,
    Engine,
    MetaData,
    Table,
    func,
    insert,
    select,
    text,
)
from sqlalchemy.schema import sort_tables

FORMAT = "benchledger backup 1"
MANIFEST = "manifest.json"
ROWS_AT_ONCE = 2000
# Alembic's own table: the revision is in the manifest.
NOT_DUMPED = frozenset({"alembic_version"})


def tables_of(connection: Connection) -> list[Table]:
    """The tables there are, each after those it refers to."""
    metadata = MetaData()
    metadata.reflect(connection)
    tables = [table for name, table in metadata.tables.items() if name not in NOT_DUMPED]

    # The keys it hands over are single columns', whatever its types say.
    def is_put_off(key: Any) -> bool:
        return bool(key.deferrable)

    return list(sort_tables(tables, skip_fn=is_put_off))


def dump_table(connection: Connection, table: Table) -> Iterator[bytes]:
    """The lines of a table, in the order of its primary key."""
    yield orjson.dumps([column.name for column in table.columns]) + b"\n"
    query = select(table).order_by(*table.primary_key.columns)
    with connection.execute(query.execution_options(yield_per=ROWS_AT_ONCE)) as rows:
        for row in rows:
            yield orjson.dumps([_written(value) for value in row]) + b"\n"


def load_table(connection: Connection, table: Table, lines: Iterable[bytes]) -> int:
    """Insert the rows that `dump_table` wrote; how many."""
    rest = iter(lines)
    names = orjson.loads(next(rest))
    read = [_reader(table, name, connection) for name in names]
    n = 0
    while batch := list(islice(rest, ROWS_AT_ONCE)):
        rows = [
            {
                name: value if value is None else convert(value)
                for name, value, convert in zip(names, orjson.loads(line), read, strict=True)
            }
            for line in batch
        ]
        connection.execute(insert(table), rows)
        n += len(rows)
    return n


def begin_snapshot(engine: Engine) -> Connection:
    """A connection that sees the database as it stands now, whatever is written meanwhile."""
    if engine.dialect.name == "postgresql":
        engine = engine.execution_options(isolation_level="REPEATABLE READ")
    connection = engine.connect()
    # SQLite takes its snapshot with the first read.
    connection.execute(text("SELECT 1 FROM alembic_version"))
    return connection


def defer_keys(connection: Connection) -> None:
    """Check foreign keys at the commit: rows come in table after table."""
    if connection.dialect.name == "postgresql":
        connection.execute(text("SET CONSTRAINTS ALL DEFERRED"))
    else:
        connection.execute(text("PRAGMA defer_foreign_keys = ON"))


def empty_tables(connection: Connection, tables: Sequence[Table]) -> None:
    defer_keys(connection)
    for table in reversed(tables):
        connection.execute(table.delete())


def set_counters(connection: Connection, tables: Sequence[Table]) -> None:
    """Let PostgreSQL's counters go on after the highest key; SQLite looks by itself."""
    if connection.dialect.name != "postgresql":
        return
    for table in tables:
        if "id" not in table.columns:
            continue
        highest = connection.execute(select(func.max(table.c.id))).scalar_one()
        if highest is not None:
            counter = func.pg_get_serial_sequence(table.name, "id")
            connection.execute(select(func.setval(counter, highest)))


def _written(value: Any) -> Any:
    if isinstance(value, datetime):
        at = value.replace(tzinfo=UTC) if value.tzinfo is None else value.astimezone(UTC)
        return at.isoformat()
    if isinstance(value, date):
        return value.isoformat()
    return value


def _reader(table: Table, name: str, connection: Connection) -> Any:
    kind = table.c[name].type
    if isinstance(kind, DateTime):
        if connection.dialect.name == "sqlite":
            return lambda value: datetime.fromisoformat(value).replace(tzinfo=None)
        return datetime.fromisoformat
    if isinstance(kind, Date):
        return date.fromisoformat
    return lambda value: value
