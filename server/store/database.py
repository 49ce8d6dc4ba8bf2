"""The one module that knows the dialect: engine, sessions, migrations, insert-if-absent."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from sqlalchemy import Connection, Engine, create_engine, event, select
from sqlalchemy.dialects import postgresql, sqlite
from sqlalchemy.orm import Session

from server.settings import Settings
from server.store.tables.metadata import Table
from server.store.types import dump_json

MIGRATIONS = Path(__file__).resolve().parents[2] / "migrations"
BUSY_TIMEOUT_MS = 15_000
# What a page of SQLite keeps in memory, in KiB (negative: KiB rather than pages).
SQLITE_CACHE_KIB = 32_768


def make_engine(settings: Settings) -> Engine:
    """An engine for the settings' database. Called by the application and the command, never
    at import."""
    if settings.url.startswith("sqlite"):
        return _sqlite_engine(settings)
    return create_engine(
        settings.url,
        pool_size=settings.pool_size,
        max_overflow=0,
        pool_pre_ping=True,
        json_serializer=lambda value: dump_json(value).decode(),
        connect_args={"options": "-c timezone=UTC"},
    )


def _sqlite_engine(settings: Settings) -> Engine:
    if settings.database_url is None:
        settings.data.mkdir(parents=True, exist_ok=True)
    engine = create_engine(
        settings.url,
        pool_size=settings.pool_size,
        max_overflow=0,
        connect_args={"timeout": BUSY_TIMEOUT_MS / 1000, "check_same_thread": False},
    )
    event.listen(engine, "connect", _prepare_sqlite)
    event.listen(engine, "begin", _begin_sqlite)
    return engine


def _prepare_sqlite(connection: Any, _record: object) -> None:
    # The driver begins transactions late and never for reads; we begin them ourselves.
    connection.isolation_level = None
    cursor = connection.cursor()
    cursor.execute(f"PRAGMA busy_timeout = {BUSY_TIMEOUT_MS}")
    cursor.execute("PRAGMA journal_mode = WAL")
    cursor.execute("PRAGMA synchronous = NORMAL")
    cursor.execute("PRAGMA foreign_keys = ON")
    cursor.execute(f"PRAGMA cache_size = -{SQLITE_CACHE_KIB}")
    cursor.close()


def _begin_sqlite(connection: Connection) -> None:
    # A writer that begins deferred and reads first loses to another writer without an error.
    writes = connection.get_execution_options().get("is_writer", False)
    connection.exec_driver_sql("BEGIN IMMEDIATE" if writes else "BEGIN")


@contextmanager
def read_session(engine: Engine) -> Iterator[Session]:
    """A session that only reads; it ends with a rollback."""
    with Session(engine, expire_on_commit=False, autoflush=False) as session:
        yield session


@contextmanager
def write_session(engine: Engine) -> Iterator[Session]:
    """A session in one write transaction: committed on success, rolled back on any exception."""
    writer = engine.execution_options(is_writer=True)
    with Session(writer, expire_on_commit=False) as session, session.begin():
        yield session


def insert_if_absent(
    session: Session, table: type[Table], values: Mapping[str, Any], *, unique: Sequence[str]
) -> bool:
    """Insert a row unless one with the same `unique` columns is there; True if inserted.

    On PostgreSQL this waits for another writer of the same row to end, so that a select after
    it always finds the row.
    """
    dialect = postgresql if session.get_bind().dialect.name == "postgresql" else sqlite
    statement = (
        dialect.insert(table)
        .values(**values)
        .on_conflict_do_nothing(index_elements=list(unique))
        .returning(*(getattr(table, name) for name in unique))
    )
    return session.execute(statement).first() is not None


def migrate(settings: Settings, *, revision: str = "head", down: bool = False) -> None:
    """Bring the database to a revision: upwards, or with `down` back."""
    from alembic import command

    move = command.downgrade if down else command.upgrade
    move(alembic_config(settings), revision)


def knows_revision(settings: Settings, *, revision: str) -> bool:
    """Whether there is such a revision; False for one of a newer version."""
    from alembic.script import ScriptDirectory

    script = ScriptDirectory.from_config(alembic_config(settings))
    return revision in {one.revision for one in script.walk_revisions()}


def is_up_to_date(settings: Settings, engine: Engine) -> bool:
    """Whether the database has just this version's tables."""
    from alembic.script import ScriptDirectory

    head = ScriptDirectory.from_config(alembic_config(settings)).get_current_head()
    return current_revision(engine) == head


def alembic_config(settings: Settings) -> Any:
    from alembic.config import Config

    config = Config()
    config.set_main_option("script_location", str(MIGRATIONS).replace("%", "%%"))
    config.attributes["settings"] = settings
    return config


def current_revision(engine: Engine) -> str | None:
    """The revision the database is at; None for one without tables."""
    from alembic.migration import MigrationContext

    with engine.connect() as connection:
        return MigrationContext.configure(connection).get_current_revision()


def tidy(engine: Engine) -> None:
    """Let SQLite look at its tables where its plans need it; PostgreSQL does so by itself."""
    if engine.dialect.name == "sqlite":
        # In a write transaction: one that begins as a reader can't write once another has written.
        with engine.execution_options(is_writer=True).begin() as connection:
            connection.exec_driver_sql("PRAGMA optimize")


def ping(session: Session) -> None:
    """One round trip, for the health check."""
    session.execute(select(1)).scalar_one()
