"""Whether anything at all was committed since: the cheapest question a database answers."""

import sqlite3
from collections.abc import Callable

from sqlalchemy import Engine


def change_counter(engine: Engine) -> Callable[[], int | None] | None:
    """A function whose number changes with every commit by anyone; None where there is no such.

    SQLite keeps it in the write-ahead log's index, so that asking costs microseconds and no lock
    that a writer holds. The connection it is asked on never writes, so its own commits, which the
    number leaves out, do not exist. PostgreSQL has nothing as cheap.
    """
    path = engine.url.database
    if engine.dialect.name != "sqlite" or not path or path == ":memory:":
        return None
    connection: sqlite3.Connection | None = None

    def count() -> int | None:
        nonlocal connection
        try:
            if connection is None:
                connection = sqlite3.connect(path, timeout=0, check_same_thread=False)
            return int(connection.execute("PRAGMA data_version").fetchone()[0])
        except sqlite3.OperationalError:
            # Being recovered or replaced: nothing is known, so nothing kept may be used.
            connection = None
            return None

    return count
