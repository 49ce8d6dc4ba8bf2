"""Runs revisions on the database of the settings (BENCHLEDGER_*), SQLite or PostgreSQL."""

from typing import Any, Literal

from alembic import context
from alembic.autogenerate.api import AutogenContext
from sqlalchemy import Connection

from server.settings import Settings
from server.store.database import make_engine
from server.store.tables import Table
from server.store.types import Finite, Json, UtcDateTime, Words


def render_item(kind: str, item: Any, _context: AutogenContext) -> str | Literal[False]:
    """Write our column types as plain ones, so that a revision imports nothing of ours."""
    if kind == "type":
        if isinstance(item, UtcDateTime):
            return "sa.DateTime(timezone=True)"
        if isinstance(item, Finite):
            return "sa.Double()"
        if isinstance(item, Json | Words):
            return "sa.Text()"
    return False


def run(connection: Connection) -> None:
    is_sqlite = connection.dialect.name == "sqlite"
    if is_sqlite:
        # Batch mode rebuilds a table by drop and rename; foreign keys would take its rows along.
        connection.exec_driver_sql("PRAGMA foreign_keys = OFF")
        connection.rollback()
    context.configure(
        connection=connection,
        target_metadata=Table.metadata,
        render_as_batch=True,
        render_item=render_item,
        compare_type=True,
        transaction_per_migration=True,
    )
    with context.begin_transaction():
        context.run_migrations()
    if is_sqlite:
        broken = connection.exec_driver_sql("PRAGMA foreign_key_check").fetchall()
        if broken:
            raise RuntimeError(f"foreign keys point nowhere after migrating: {broken[:5]}")


def main() -> None:
    if "connection" in context.config.attributes:
        run(context.config.attributes["connection"])
        return
    settings = context.config.attributes.get("settings") or Settings()
    engine = make_engine(settings)
    try:
        with engine.connect() as connection:
            run(connection)
    finally:
        engine.dispose()


main()
