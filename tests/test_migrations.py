"""Revisions: one head, up, no drift, down and up again, and data survives. On both databases."""

import re
from collections.abc import Iterator
from pathlib import Path

import pytest
import sqlalchemy as sa
from alembic.autogenerate import compare_metadata
from alembic.migration import MigrationContext
from alembic.script import ScriptDirectory

from server.settings import Settings
from server.store.database import (
    MIGRATIONS,
    alembic_config,
    current_revision,
    make_engine,
    migrate,
    write_session,
)
from server.store.journal import OPERATOR
from server.store.matching import appliance_for
from server.store.tables import Table
from tests.actions.examples import example_bench
from tests.conftest import postgresql_database


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def empty(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Settings]:
    """A database without any table."""
    if request.param == "sqlite":
        yield Settings(data=tmp_path)
        return
    with postgresql_database() as url:
        yield Settings(data=tmp_path, database_url=url)


def table_names(settings: Settings) -> set[str]:
    engine = make_engine(settings)
    try:
        return set(sa.inspect(engine).get_table_names())
    finally:
        engine.dispose()


def test_there_is_one_head(tmp_path: Path) -> None:
    script = ScriptDirectory.from_config(alembic_config(Settings(data=tmp_path)))
    assert len(script.get_heads()) == 1


def test_revisions_import_nothing_of_ours() -> None:
    for path in sorted((MIGRATIONS / "versions").glob("*.py")):
        assert not re.search(r"^\s*(import|from) server\b", path.read_text(), re.M), path.name


def test_migrating_makes_exactly_the_tables_of_the_classes(empty: Settings) -> None:
    migrate(empty)
    engine = make_engine(empty)
    with engine.connect() as connection:
        context = MigrationContext.configure(connection, opts={"compare_type": True})
        assert compare_metadata(context, Table.metadata) == []
    engine.dispose()


def test_down_leaves_nothing_and_up_again_works(empty: Settings) -> None:
    migrate(empty)
    migrate(empty, revision="base", down=True)
    assert table_names(empty) == {"alembic_version"}
    migrate(empty)
    assert table_names(empty) == {*Table.metadata.tables, "alembic_version"}


def test_the_run_points_at_its_revision_on_both_databases(empty: Settings) -> None:
    migrate(empty)
    engine = make_engine(empty)
    keys = sa.inspect(engine).get_foreign_keys("run")
    engine.dispose()
    pointers = {key["constrained_columns"][0]: key["referred_table"] for key in keys}
    assert pointers["current_revision_id"] == "run_revision"
    assert pointers["current_set_id"] == "metric_set"


def test_data_survives_every_revision(empty: Settings) -> None:
    """Rows made at the head are still there after migrating again and, step by step, up."""
    migrate(empty)
    engine = make_engine(empty)
    appliance = example_bench().appliance
    assert appliance is not None
    with write_session(engine) as session:
        row, _ = appliance_for(session, appliance, actor=OPERATOR)
        public_id = row.public_id
    before = current_revision(engine)
    migrate(empty)
    assert current_revision(engine) == before
    with engine.connect() as connection:
        found = connection.execute(sa.text("SELECT public_id FROM appliance")).scalars().all()
    engine.dispose()
    assert found == [public_id]


def test_migrating_a_current_database_changes_nothing(empty: Settings) -> None:
    migrate(empty)
    before = table_names(empty)
    migrate(empty)
    assert table_names(empty) == before
