"""Shared fixtures: a migrated database per test, on SQLite and, where there is one, PostgreSQL.

BENCHLEDGER_TEST_POSTGRESQL_URL names a server (its administration database); tests make and drop
databases of their own. What can't run is named at the end; `--require-all` makes that a failure.
"""

import os
import re
import shutil
import sqlite3
from collections import Counter
from collections.abc import Callable, Iterator
from contextlib import closing, contextmanager
from enum import StrEnum
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy import event
from sqlalchemy.orm import Session

from server.actions.issue_token import issue_token
from server.actions.record_consent import DATA_LICENCE
from server.model import people, words
from server.model.views import Tester
from server.model.wishes import WISHES
from server.settings import Settings
from server.store.database import make_engine, migrate, read_session, write_session
from server.store.dump import empty_tables
from server.store.identity import new_public_id
from server.store.people import tester_for_token
from server.store.tables import AuditEventRow, Table

os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # as the command and the service do
# Most tests are about figures: clean runs are published at once there. Those about who looks
# first make settings of their own.
os.environ.setdefault("BENCHLEDGER_STANDING_RUNS", "0")
os.environ.setdefault("BENCHLEDGER_LOOK_SHARE", "0")
os.environ.setdefault("BENCHLEDGER_FIRST_RUN_WAITS", "false")
# One address does everything here; tests about limits make settings of their own.
for _limit in ("SIGN_IN", "SIGN_UP", "RESET", "REPORT", "TRIAL"):
    os.environ.setdefault(f"BENCHLEDGER_LIMIT_{_limit}_BY_ADDRESS", "")

POSTGRESQL_URL = os.environ.get("BENCHLEDGER_TEST_POSTGRESQL_URL")
CHROMIUM = (
    os.environ.get("BENCHLEDGER_TEST_CHROMIUM")
    or shutil.which("chromium")
    or shutil.which("chromium-browser")
)
# Its name begins like a test class's; without this pytest would try to collect it.
Tester.__test__ = False  # type: ignore[attr-defined]


def pytest_addoption(parser: pytest.Parser) -> None:
    parser.addoption("--slow", action="store_true", help="run the tests that take minutes")
    parser.addoption(
        "--require-all",
        action="store_true",
        help="fail if a browser or PostgreSQL test could not run",
    )


@pytest.hookimpl(trylast=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    # The browser's driver keeps an event loop in its thread: tests with loops of their own must
    # come before it, and a file's browser tests share a worker.
    items.sort(key=lambda item: "browser" in item.keywords)
    for item in items:
        if "browser" in item.keywords:
            item.add_marker(pytest.mark.xdist_group(item.path.name))
            if CHROMIUM is None:
                item.add_marker(pytest.mark.skip(reason="chromium is not installed"))
        if "slow" in item.keywords and not config.getoption("--slow"):
            item.add_marker(pytest.mark.skip(reason="slow: run with --slow"))
        if "postgresql" in item.keywords and POSTGRESQL_URL is None:
            reason = "BENCHLEDGER_TEST_POSTGRESQL_URL is not set"
            item.add_marker(pytest.mark.skip(reason=reason))


def could_not_run(reporter: object) -> list[str]:
    """Names of the browser and PostgreSQL tests that were skipped, with how many and why."""
    found: Counter[str] = Counter()
    for report in getattr(reporter, "stats", {}).get("skipped", []):
        if "slow" in report.keywords:
            continue
        kinds = [kind for kind in ("postgresql", "browser") if kind in report.keywords]
        if kinds:
            reason = report.longrepr[2] if isinstance(report.longrepr, tuple) else report.longrepr
            name = report.nodeid.partition("[")[0]
            found[f"{kinds[0]}: {name}: {str(reason).removeprefix('Skipped: ')}"] += 1
    return [name if n == 1 else f"{name} ({n} cases)" for name, n in sorted(found.items())]


def pytest_terminal_summary(terminalreporter: object, config: pytest.Config) -> None:
    names = could_not_run(terminalreporter)
    if not names:
        return
    write = terminalreporter.write_line  # type: ignore[attr-defined]
    write("")
    write("These tests could not run on this machine:")
    for name in names:
        write(f"  {name}")
    if config.getoption("--require-all"):
        write("They count as failures: --require-all was given.")


def pytest_sessionfinish(session: pytest.Session, exitstatus: int) -> None:
    if not session.config.getoption("--require-all") or hasattr(session.config, "workerinput"):
        return
    reporter = session.config.pluginmanager.get_plugin("terminalreporter")
    if could_not_run(reporter) and exitstatus == pytest.ExitCode.OK:
        session.exitstatus = pytest.ExitCode.TESTS_FAILED


def pytest_runtest_setup() -> None:
    import pytest_socket

    # This machine only: a test that reaches for another host fails and says so.
    pytest_socket.socket_allow_hosts(["127.0.0.1", "::1", "localhost"], allow_unix_socket=True)


@pytest.fixture(scope="session")
def browser_type_launch_args(browser_type_launch_args: dict[str, object]) -> dict[str, object]:
    """The system's Chromium, quiet and without its sandbox (tests may run as root)."""
    quiet = ("--disable-background-networking", "--disable-component-update", "--disable-sync")
    return {
        **browser_type_launch_args,
        "executable_path": CHROMIUM,
        "args": ["--no-sandbox", "--no-first-run", *quiet],
    }


@pytest.fixture(scope="session")
def migrated_sqlite(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """An empty database file, migrated once and copied for each test."""
    data = tmp_path_factory.mktemp("migrated")
    migrate(Settings(data=data))
    with closing(sqlite3.connect(data / "benchledger.sqlite3")) as connection:
        # All into the one file that is copied.
        connection.execute("PRAGMA wal_checkpoint(TRUNCATE)")
    return data / "benchledger.sqlite3"


@contextmanager
def postgresql_admin() -> Iterator[sa.Connection]:
    assert POSTGRESQL_URL is not None
    url = POSTGRESQL_URL.replace("postgresql://", "postgresql+psycopg://", 1)
    engine = sa.create_engine(url, isolation_level="AUTOCOMMIT", poolclass=sa.NullPool)
    with engine.connect() as connection:
        yield connection


@contextmanager
def postgresql_database() -> Iterator[str]:
    """A database of its own, dropped at the end; gives its URL."""
    name = f"bl_test_{new_public_id()}"
    with postgresql_admin() as admin:
        admin.execute(sa.text(f'CREATE DATABASE "{name}"'))
    try:
        assert POSTGRESQL_URL is not None
        yield f"{POSTGRESQL_URL.rsplit('/', 1)[0]}/{name}"
    finally:
        with postgresql_admin() as admin:
            admin.execute(sa.text(f'DROP DATABASE "{name}" WITH (FORCE)'))


@pytest.fixture(scope="session")
def migrated_postgresql(tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    """A database migrated once for this process, emptied after each test."""
    with postgresql_database() as url:
        migrate(Settings(data=tmp_path_factory.mktemp("pg"), database_url=url))
        yield url


def empty(settings: Settings) -> None:
    """Delete every row: much quicker than a database for each test."""
    engine = make_engine(settings)
    with engine.begin() as connection:
        empty_tables(connection, Table.metadata.sorted_tables)
    engine.dispose()


@pytest.fixture(params=["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)])
def settings(request: pytest.FixtureRequest, tmp_path: Path) -> Iterator[Settings]:
    """Settings of an empty, migrated database and a fresh data folder."""
    data = tmp_path / "data"
    data.mkdir()
    if request.param == "sqlite":
        shutil.copy(request.getfixturevalue("migrated_sqlite"), data / "benchledger.sqlite3")
        yield Settings(data=data)
        return
    url = request.getfixturevalue("migrated_postgresql")
    settings = Settings(data=data, database_url=url, pool_size=4)
    yield settings
    empty(settings)


@pytest.fixture
def sqlite_settings(migrated_sqlite: Path, tmp_path: Path) -> Settings:
    """SQLite alone, for tests in which the database makes no difference."""
    data = tmp_path / "data"
    data.mkdir()
    shutil.copy(migrated_sqlite, data / "benchledger.sqlite3")
    return Settings(data=data)


@pytest.fixture
def engine(settings: Settings) -> Iterator[sa.Engine]:
    engine = make_engine(settings)
    yield engine
    engine.dispose()


# What an entry of the journal may hold: keys, states, times, digests, words of ours.
_OUR_WORD = re.compile(r"[A-Za-z0-9._:+/-]{1,64}")
_OUR_WORDS = {
    word.value
    for module in (people, words)
    for kind in vars(module).values()
    if isinstance(kind, type) and issubclass(kind, StrEnum)
    for word in kind
} | {*WISHES, DATA_LICENCE}


def words_in(value: object) -> list[str]:
    """The texts in an entry's `before` or `after` that may be names or words of people."""
    if isinstance(value, dict):
        return [text for pair in value.items() for part in pair for text in words_in(part)]
    if isinstance(value, list | tuple | set | frozenset):
        return [text for part in value for text in words_in(part)]
    if not isinstance(value, str) or value in _OUR_WORDS or _OUR_WORD.fullmatch(value):
        return []
    return [value]


@event.listens_for(AuditEventRow, "before_insert")
def _look_at_entry(_mapper: object, _connection: object, row: AuditEventRow) -> None:
    """Entries can't be erased, so what can be is kept apart: `note`, or `texts` of `record`."""
    found = words_in(row.before) + words_in(row.after)
    assert not found, f"the entry “{row.act}” holds words that may be a person's: {found}"


@pytest.fixture
def session(engine: sa.Engine) -> Iterator[Session]:
    """One write transaction for the whole test, rolled back at the end."""
    with Session(engine.execution_options(is_writer=True), expire_on_commit=False) as session:
        yield session


@pytest.fixture
def tester(engine: sa.Engine) -> Tester:
    """A stored tester who may send."""
    with write_session(engine) as writing:
        token = issue_token(writing, tester="Ada Quill").token
    with read_session(engine) as reading:
        found = tester_for_token(reading, token=token)
    assert found is not None
    return found


class Queries(list[str]):
    """The SQL statements of a stretch of code, BEGIN and the like left out."""


@pytest.fixture
def count_queries() -> Callable[[sa.Engine], object]:
    """`with count_queries(engine) as queries: …; assert len(queries) == 3`."""

    @contextmanager
    def counting(engine: sa.Engine) -> Iterator[Queries]:
        queries = Queries()

        def note(_c: object, _cursor: object, statement: str, *_rest: object) -> None:
            if not statement.startswith(("BEGIN", "SAVEPOINT", "RELEASE", "ROLLBACK", "PRAGMA")):
                queries.append(statement)

        event.listen(engine, "before_cursor_execute", note)
        try:
            yield queries
        finally:
            event.remove(engine, "before_cursor_execute", note)

    return counting
