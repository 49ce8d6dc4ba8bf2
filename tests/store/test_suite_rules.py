"""The suite's own rules: no other host is reached, and what can't run is named."""

import socket
from collections.abc import Callable
from contextlib import AbstractContextManager
from types import SimpleNamespace

import pytest
import pytest_socket
from sqlalchemy import Engine, text

from tests.conftest import could_not_run


def test_no_other_host_can_be_reached() -> None:
    with socket.socket() as sock, pytest.raises(pytest_socket.SocketConnectBlockedError):
        sock.connect(("192.0.2.1", 80))


def skipped(name: str, reason: str, *keywords: str) -> SimpleNamespace:
    return SimpleNamespace(
        nodeid=name,
        longrepr=("file", 1, f"Skipped: {reason}"),
        keywords=dict.fromkeys(keywords, 1),
    )


def test_what_could_not_run_is_named_once_with_its_reason() -> None:
    reports = [
        skipped("tests/a.py::test_x[postgresql-1]", "no server", "postgresql"),
        skipped("tests/a.py::test_x[postgresql-2]", "no server", "postgresql"),
        skipped("tests/b.py::test_y", "no Chromium", "browser"),
        skipped("tests/c.py::test_z", "run with --slow", "slow", "postgresql"),
        skipped("tests/d.py::test_other", "elsewhere"),
    ]
    assert could_not_run(SimpleNamespace(stats={"skipped": reports})) == [
        "browser: tests/b.py::test_y: no Chromium",
        "postgresql: tests/a.py::test_x: no server (2 cases)",
    ]


def test_statements_are_counted(
    engine: Engine, count_queries: Callable[[Engine], AbstractContextManager[list[str]]]
) -> None:
    with count_queries(engine) as queries, engine.connect() as connection:
        connection.execute(text("SELECT 1"))
        connection.execute(text("SELECT 2"))
    assert list(queries) == ["SELECT 1", "SELECT 2"]
