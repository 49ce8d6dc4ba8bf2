"""Kept answers: never older than the last commit, never somebody's own, never with an old nonce."""

from collections.abc import Iterator

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient
from sqlalchemy import text

from server.app import create_app
from server.settings import Settings
from server.store.change_counter import change_counter
from server.store.database import make_engine, read_session, write_session
from tests.api.logs import parts
from tests.api.test_resources import APPLIANCE

V1 = "/api/v1"


@pytest.fixture
def other_process(app, sqlite_settings: Settings) -> Iterator[TestClient]:
    with TestClient(create_app(sqlite_settings), follow_redirects=False) as client:
        yield client


def test_an_open_answer_is_made_once(client, app, run, count_queries) -> None:
    for address in (f"{V1}/appliances", f"{V1}/runs/{run['id']}", "/appliances", "/"):
        first = client.get(address)
        with count_queries(app.state.resources.engine) as queries:
            second = client.get(address)
        assert len(queries) == 0, address
        assert second.status_code == first.status_code == 200
        assert second.headers["etag"] == first.headers["etag"]


def test_after_any_commit_it_is_made_anew(client, other_process, sender, run) -> None:
    """Here and in every other process, whoever wrote."""
    assert len(client.get(f"{V1}/appliances").json()["items"]) == 1
    assert len(other_process.get(f"{V1}/appliances").json()["items"]) == 1
    made = client.post(f"{V1}/appliances", json=APPLIANCE, headers=sender)
    assert made.status_code == 201
    assert len(client.get(f"{V1}/appliances").json()["items"]) == 2
    assert len(other_process.get(f"{V1}/appliances").json()["items"]) == 2


def test_a_withdrawn_run_is_gone_at_once(client, other_process, sender, run) -> None:
    address = f"{V1}/runs/{run['id']}"
    assert client.get(address).status_code == other_process.get(address).status_code == 200
    reason = {"reason": "The arm was measured wrongly."}
    assert client.post(f"{address}/withdrawal", json=reason, headers=sender).status_code == 201
    assert client.get(address).status_code == other_process.get(address).status_code == 404


def test_what_is_ones_own_is_never_kept(client, sender, stranger, run) -> None:
    address = f"{V1}/runs/{run['id']}"
    reason = {"reason": "The arm was measured wrongly."}
    assert client.post(f"{address}/withdrawal", json=reason, headers=sender).status_code == 201
    assert client.get(address, headers=sender).status_code == 200
    assert client.get(address).status_code == 404
    assert client.get(address, headers=stranger).status_code == 404


def test_a_page_for_who_is_signed_in_is_their_own(client, token) -> None:
    assert client.get("/appliances").headers["cache-control"] == "public, no-cache"
    client.post("/sign-in", data={"token": token}, headers={"Sec-Fetch-Site": "same-origin"})
    mine = client.get("/appliances")
    assert "Ada Quill" in mine.text
    assert mine.headers["cache-control"] == "private, no-cache"
    client.cookies.clear()
    assert "Ada Quill" not in client.get("/appliances").text


def test_a_kept_page_has_the_nonce_of_its_answer(client) -> None:
    nonces = set()
    for _ in range(3):
        answer = client.get("/appliances")
        written = {
            tag["nonce"] for tag in BeautifulSoup(answer.text, "html.parser").select("[nonce]")
        }
        (nonce,) = written
        assert f"'nonce-{nonce}'" in answer.headers["content-security-policy"]
        nonces.add(nonce)
    assert len(nonces) == 3


def test_an_unchanged_page_is_not_sent_again(client, sender) -> None:
    etag = client.get("/appliances").headers["etag"]
    asked = {"If-None-Match": etag}
    for _ in range(2):
        again = client.get("/appliances", headers=asked)
        assert (again.status_code, again.content) == (304, b"")
        assert again.headers["etag"] == etag
    client.post(f"{V1}/appliances", json=APPLIANCE, headers=sender)
    assert client.get("/appliances", headers=asked).status_code == 200


def test_the_first_question_may_already_be_whether_it_changed(client, other_process, run) -> None:
    address = f"{V1}/runs/{run['id']}"
    etag = client.get(address).headers["etag"]
    for _ in range(2):
        answer = other_process.get(address, headers={"If-None-Match": etag})
        assert (answer.status_code, answer.content) == (304, b"")
    assert other_process.get(address).json()["id"] == run["id"]


def test_addresses_differ_by_their_query_and_host(client, run) -> None:
    few = client.get(f"{V1}/appliances?limit=1").json()
    none = client.get(f"{V1}/appliances?text=zzz").json()
    assert (len(few["items"]), len(none["items"])) == (1, 0)
    here = client.get("/", headers={"Host": "one.example"})
    there = client.get("/", headers={"Host": "two.example"})
    assert "one.example" not in there.text
    assert here.status_code == there.status_code == 200


def test_what_is_kept_is_bounded(sqlite_settings: Settings) -> None:
    app = create_app(sqlite_settings.model_copy(update={"kept_bytes": 20_000}))
    with TestClient(app) as client:
        for n in range(50):
            assert client.get(f"{V1}/appliances?limit={n + 1}").status_code == 200
        layer = app.middleware_stack
        while not hasattr(layer, "_kept"):
            layer = layer.app
        assert 0 < layer._n_bytes <= 20_000
        assert layer._n_bytes == sum(len(kept.body or b"") + 2048 for kept in layer._kept.values())


def test_nothing_is_kept_where_it_is_switched_off(sqlite_settings, count_queries) -> None:
    app = create_app(sqlite_settings.model_copy(update={"kept_bytes": 0}))
    with TestClient(app) as client, count_queries(app.state.resources.engine) as queries:
        client.get(f"{V1}/appliances")
        n_first = len(queries)
        client.get(f"{V1}/appliances")
    assert len(queries) == 2 * n_first > 0


def test_the_counter_moves_with_every_commit_and_only_then(sqlite_settings: Settings) -> None:
    engine = make_engine(sqlite_settings)
    count = change_counter(engine)
    assert count is not None
    with write_session(engine) as session:
        session.execute(text("CREATE TABLE counted (n INTEGER)"))
    before = count()
    with read_session(engine) as session:
        session.execute(text("SELECT * FROM counted")).all()
    with write_session(engine):
        pass
    assert count() == before
    with write_session(engine) as session:
        session.execute(text("INSERT INTO counted VALUES (1)"))
        session.rollback()
    assert count() == before
    with write_session(engine) as session:
        session.execute(text("INSERT INTO counted VALUES (1)"))
    assert count() != before
    engine.dispose()


def test_a_file_is_never_kept(client, app, run) -> None:
    for _ in range(2):
        assert client.get(f"{V1}/runs/{run['id']}/file").content == parts()["file"][1].encode()
