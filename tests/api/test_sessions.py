"""The three traps of sessions: told before COMMIT, a starved pool, two writers who read first."""

import threading
from concurrent.futures import ThreadPoolExecutor
from typing import Annotated

import anyio
import httpx2
import pytest
from fastapi import Depends, FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import text
from sqlalchemy.exc import IntegrityError

from server.app import create_app
from server.dependencies import ReadSession, Viewer, WriteSession
from server.settings import Settings
from server.store.database import write_session


def make_tables(app: FastAPI) -> None:
    with write_session(app.state.resources.engine) as session:
        session.execute(text("CREATE TABLE parent (id INTEGER PRIMARY KEY)"))
        session.execute(
            text(
                "CREATE TABLE child (parent_id INTEGER REFERENCES parent (id) "
                "DEFERRABLE INITIALLY DEFERRED)"
            )
        )
        session.execute(text("CREATE TABLE counter (n INTEGER NOT NULL)"))
        session.execute(text("INSERT INTO counter VALUES (0)"))


def test_what_fails_at_commit_is_never_answered_as_done(app) -> None:
    make_tables(app)

    def add_orphan(session: WriteSession) -> dict[str, bool]:
        # The constraint is checked when the transaction commits, after the endpoint has returned.
        session.execute(text("INSERT INTO child VALUES (99)"))
        return {"done": True}

    app.add_api_route("/api/v1/orphans", add_orphan, methods=["POST"], status_code=201)
    with TestClient(app, raise_server_exceptions=False) as client:
        answer = client.post("/api/v1/orphans")
    assert answer.status_code == 500
    assert answer.json()["type"] == "/api/v1/problems/defect"
    with TestClient(app) as client, pytest.raises(IntegrityError):
        client.post("/api/v1/orphans")


def test_an_exception_rolls_everything_back(app) -> None:
    make_tables(app)

    def fail(session: WriteSession) -> None:
        session.execute(text("UPDATE counter SET n = 5"))
        raise RuntimeError("after the write")

    app.add_api_route("/api/v1/fail", fail, methods=["POST"])
    with TestClient(app, raise_server_exceptions=False) as client:
        assert client.post("/api/v1/fail").status_code == 500
    with write_session(app.state.resources.engine) as session:
        assert session.execute(text("SELECT n FROM counter")).scalar_one() == 0


async def in_parallel(app: FastAPI, method: str, address: str, n: int) -> list[int]:
    """Statuses of n requests that all start at once, in one event loop, without a network."""
    statuses: list[int] = []
    transport = httpx2.ASGITransport(app=app)
    async with (
        app.router.lifespan_context(app),
        httpx2.AsyncClient(transport=transport, base_url="http://test") as client,
        anyio.create_task_group() as group,
    ):

        async def ask() -> None:
            statuses.append((await client.request(method, address)).status_code)

        for _ in range(n):
            group.start_soon(ask)
    return statuses


def test_200_parallel_readers_all_get_an_answer(sqlite_settings: Settings) -> None:
    app = create_app(sqlite_settings.model_copy(update={"pool_size": 3}))

    def used_first(session: ReadSession) -> int:
        return int(session.execute(text("SELECT 1")).scalar_one())

    def used_again(session: ReadSession, first: Annotated[int, Depends(used_first)]) -> int:
        return first + int(session.execute(text("SELECT 1")).scalar_one())

    app.add_api_route("/api/v1/twice", used_again)
    statuses = anyio.run(in_parallel, app, "GET", "/api/v1/twice", 200)
    assert statuses == [200] * 200


def test_readers_with_tokens_hold_no_slot_while_they_wait(sqlite_settings: Settings) -> None:
    from server.actions.issue_token import issue_token

    app = create_app(sqlite_settings.model_copy(update={"pool_size": 2}))
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token

    def who(session: ReadSession, viewer: Viewer) -> str:
        session.execute(text("SELECT 1"))
        return viewer.name if viewer is not None else "nobody"

    app.add_api_route("/api/v1/who", who)

    async def ask_all() -> list[str]:
        names: list[str] = []
        headers = {"Authorization": f"Bearer {token}"}
        transport = httpx2.ASGITransport(app=app)
        async with (
            app.router.lifespan_context(app),
            httpx2.AsyncClient(transport=transport, base_url="http://t", headers=headers) as client,
            anyio.create_task_group() as group,
        ):

            async def ask() -> None:
                names.append((await client.get("/api/v1/who")).json())

            for _ in range(60):
                group.start_soon(ask)
        return names

    assert anyio.run(ask_all) == ["Ada Quill"] * 60


def test_writers_who_read_first_lose_no_update(app) -> None:
    make_tables(app)

    def count_up(session: WriteSession) -> int:
        n = int(session.execute(text("SELECT n FROM counter")).scalar_one())
        session.execute(text("UPDATE counter SET n = :n"), {"n": n + 1})
        return n + 1

    app.add_api_route("/api/v1/count", count_up, methods=["POST"])
    statuses = anyio.run(in_parallel, app, "POST", "/api/v1/count", 40)
    assert statuses == [200] * 40
    with write_session(app.state.resources.engine) as session:
        assert session.execute(text("SELECT n FROM counter")).scalar_one() == 40


def test_writers_of_two_processes_lose_no_update(app, sqlite_settings: Settings) -> None:
    """Two engines on one file stand for two processes: only the database keeps them apart."""
    make_tables(app)
    engines = [create_app(sqlite_settings).state.resources.engine for _ in range(2)]
    start = threading.Barrier(2)

    def count_up(engine: object) -> None:
        start.wait()
        for _ in range(20):
            with write_session(engine) as session:  # type: ignore[arg-type]
                n = int(session.execute(text("SELECT n FROM counter")).scalar_one())
                session.execute(text("UPDATE counter SET n = :n"), {"n": n + 1})

    with ThreadPoolExecutor(2) as pool:
        list(pool.map(count_up, engines))
    with write_session(app.state.resources.engine) as session:
        assert session.execute(text("SELECT n FROM counter")).scalar_one() == 40
    for engine in engines:
        engine.dispose()


def test_no_request_asks_for_two_sessions(app) -> None:
    """It would hold one slot while it waits for another."""
    from fastapi.routing import APIRoute

    from server.dependencies.sessions import _read_session, _write_turn

    def called(dependant: object) -> set[object]:
        found = {dependant.call}  # type: ignore[attr-defined]
        for below in dependant.dependencies:  # type: ignore[attr-defined]
            found |= called(below)
        return found

    routes = [route for route in app.routes if isinstance(route, APIRoute)]
    assert len(routes) > 40
    for route in routes:
        assert not {_read_session, _write_turn} <= called(route.dependant), route.path
