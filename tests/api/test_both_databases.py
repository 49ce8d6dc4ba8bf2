"""The whole way of a run through the API, on SQLite and on PostgreSQL."""

from collections.abc import Iterator

import anyio
import httpx2
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import text

from server.actions.issue_token import issue_token
from server.app import create_app
from server.dependencies import WriteSession
from server.settings import Settings
from server.store.database import write_session
from tests.api.logs import parts, small_log
from tests.api.test_resources import APPLIANCE, RIG

V1 = "/api/v1"


@pytest.fixture
def both(settings: Settings) -> Iterator[FastAPI]:
    app = create_app(settings)
    yield app
    app.state.resources.engine.dispose()


@pytest.fixture
def sending(both: FastAPI) -> Iterator[TestClient]:
    with write_session(both.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    with TestClient(both) as client:
        client.headers["Authorization"] = f"Bearer {token}"
        yield client


def test_a_run_from_sending_to_withdrawal(sending) -> None:
    keyed = {"Idempotency-Key": "one"}
    sent = sending.post(f"{V1}/runs", files=parts(), headers=keyed)
    assert sent.status_code == 201, sent.text
    assert sending.post(f"{V1}/runs", files=parts(), headers=keyed).status_code == 200
    run = sent.json()
    address = sent.headers["location"]
    read = sending.get(address)
    assert read.json() == run
    etag = {"If-None-Match": read.headers["etag"]}
    assert sending.get(address, headers=etag).status_code == 304
    for part in ("metrics", "findings", "points", "curves", "trace", "status"):
        assert sending.get(f"{address}/{part}").status_code == 200
    assert sending.get(f"{address}/file").text == small_log()
    rig = sending.post(f"{V1}/rigs", json=RIG).json()
    assert sending.get(f"{V1}/rigs/{rig['id']}").json() == rig
    other = sending.post(f"{V1}/appliances", json=APPLIANCE).json()
    ids = [run["appliance"]["id"], other["id"]]
    compared = sending.get(f"{V1}/compare", params={"appliance": ids}).json()["items"]
    assert [item["appliance"]["id"] for item in compared] == ids
    for query in ("sort=ratio", "sort=maker&limit=1", "text=mill", "efficiency_max_min=0.1"):
        assert sending.get(f"{V1}/appliances?{query}").json()["items"], query
    reason = {"reason": "The arm was measured wrongly."}
    assert sending.post(f"{address}/withdrawal", json=reason).status_code == 201
    assert sending.get(address, headers={"Authorization": ""}).status_code in {401, 404}
    assert sending.post(f"{address}/withdrawal", json=reason).status_code == 409


@pytest.mark.parametrize("name", ["nul\x00", "Ünïcode and söns", "𝔐"])
def test_odd_text_is_no_defect(sending, name: str) -> None:
    answer = sending.post(f"{V1}/appliances", json={**APPLIANCE, "maker": name})
    assert answer.status_code == (422 if "\x00" in name else 201)
    found = sending.get(f"{V1}/appliances", params={"text": name, "maker": name})
    assert found.status_code == (422 if "\x00" in name else 200)


def test_what_fails_at_commit_is_never_answered_as_done(both: FastAPI) -> None:
    with write_session(both.state.resources.engine) as session:
        session.execute(text("CREATE TABLE parent (id INTEGER PRIMARY KEY)"))
        reference = "INTEGER REFERENCES parent (id) DEFERRABLE INITIALLY DEFERRED"
        session.execute(text(f"CREATE TABLE child (parent_id {reference})"))

    def add_orphan(session: WriteSession) -> dict[str, bool]:
        session.execute(text("INSERT INTO child VALUES (99)"))
        return {"done": True}

    both.add_api_route("/api/v1/orphans", add_orphan, methods=["POST"], status_code=201)
    with TestClient(both, raise_server_exceptions=False) as client:
        assert client.post("/api/v1/orphans").status_code == 500


def test_200_parallel_readers_all_get_an_answer(settings: Settings) -> None:
    app = create_app(settings.model_copy(update={"pool_size": 3, "kept_bytes": 0}))
    statuses: list[int] = []

    async def ask_all() -> None:
        transport = httpx2.ASGITransport(app=app)
        async with (
            app.router.lifespan_context(app),
            httpx2.AsyncClient(transport=transport, base_url="http://test") as client,
            anyio.create_task_group() as group,
        ):

            async def ask() -> None:
                statuses.append((await client.get(f"{V1}/appliances")).status_code)

            for _ in range(200):
                group.start_soon(ask)

    anyio.run(ask_all)
    assert statuses == [200] * 200
