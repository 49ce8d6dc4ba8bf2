"""Tests that others may watch: an address nobody can guess, told by its owner, read cheaply."""

from datetime import timedelta

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import func, select, update

from server.actions.issue_token import issue_token
from server.actions.update_live_test import remove_expired_tests
from server.app import create_app
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.journal import now
from tests.api.logs import parts
from tests.pages.reading import parsed, problems_of, text_of

LIVE = "/api/v1/live"
READINGS = {
    "at_s": 12.5,
    "n_lines": 130,
    "n_unreadable": 2,
    "now": {"shaft_power": 402.5, "torque": 0.31, "speed": 1298.0},
    "highest": {"shaft_power": 455.1, "torque": 0.33, "speed": 2000.0},
    "trace_s": [0.0, 5.0, 12.5],
    "trace": {"shaft_power": [None, 455.1, 402.5], "speed": [2000.0, 1400.0, 1298.0]},
}


@pytest.fixture
def test_address(client: TestClient, sender: dict[str, str]) -> str:
    answer = client.post(LIVE, json={"title": "Millbeck WD-30"}, headers=sender)
    assert answer.status_code == 201
    return str(answer.json()["address"])


@pytest.fixture
def told(client: TestClient, sender: dict[str, str], test_address: str) -> str:
    assert client.put(f"{LIVE}/{test_address}", json=READINGS, headers=sender).status_code == 204
    return test_address


def test_watchers_read_what_the_owner_tells(client, told) -> None:
    seen = client.get(f"{LIVE}/{told}").json()
    assert seen["now"] == READINGS["now"]
    assert seen["trace"] == READINGS["trace"]
    assert seen["units"]["torque"] == "N m"
    assert seen["title"] == "Millbeck WD-30"
    assert seen["tester"] == "Ada Quill"
    assert seen["ended_at"] is None
    assert seen["standing"].startswith("Unreviewed")


def test_addresses_are_long_random_and_in_no_list(client, sender) -> None:
    addresses = {client.post(LIVE, json={}, headers=sender).json()["address"] for _ in range(10)}
    assert len(addresses) == 10
    assert min(map(len, addresses)) >= 32
    front = client.get("/").text + client.get("/appliances").text + client.get("/api/v1/runs").text
    assert not [a for a in addresses if a in front]


def test_only_the_owner_tells(client, told, stranger) -> None:
    assert client.put(f"{LIVE}/{told}", json=READINGS, headers=stranger).status_code == 404
    assert client.put(f"{LIVE}/{told}", json=READINGS).status_code == 401
    assert client.post(LIVE, json={}).status_code == 401


@pytest.mark.parametrize(
    "wrong",
    [
        {"now": {"horsepower": 5.0}},
        {"now": {"torque": "much"}},
        {"now": {}, "trace_s": [0.0] * 500},
        {"now": {}, "secret": 1},
        {"now": {}, "at_s": -1},
        {"now": {"torque": 1e300}},
        {"now": {}, "trace_s": [0.0, 1.0], "trace": {"torque": [1.0]}},
    ],
)
def test_what_is_no_reading_is_refused(client, told, sender, wrong) -> None:
    assert client.put(f"{LIVE}/{told}", json=wrong, headers=sender).status_code == 422
    assert client.get(f"{LIVE}/{told}").json()["now"] == READINGS["now"]


def test_nobody_opens_them_without_end(client, sender) -> None:
    answers = [client.post(LIVE, json={}, headers=sender).status_code for _ in range(21)]
    assert answers == [201] * 20 + [409]


def test_an_unchanged_test_is_a_304_that_touches_one_row(
    sqlite_settings: Settings, count_queries
) -> None:
    app = create_app(sqlite_settings.model_copy(update={"kept_bytes": 0}))
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    sender = {"Authorization": f"Bearer {token}"}
    with TestClient(app) as client:
        address = client.post(LIVE, json={}, headers=sender).json()["address"]
        for place in (f"{LIVE}/{address}", f"/live/{address}", f"/live/{address}/now"):
            client.put(f"{LIVE}/{address}", json=READINGS, headers=sender)
            first = client.get(place)
            asked = {"If-None-Match": first.headers["etag"]}
            with count_queries(app.state.resources.engine) as queries:
                again = client.get(place, headers=asked)
            assert again.status_code == 304
            assert again.content == b""
            assert len(queries) == 1, queries
            client.put(f"{LIVE}/{address}", json=READINGS, headers=sender)
            assert client.get(place, headers=asked).status_code == 200
    app.state.resources.engine.dispose()


def test_the_page_is_whole_without_a_script(client, told) -> None:
    answer = client.get(f"/live/{told}")
    assert problems_of(answer.text) == []
    page = parsed(answer.text)
    text = text_of(page).replace("\u00a0", " ").replace("\u202f", " ")
    assert "Unreviewed: readings as they come, not a result." in text
    assert "402 W" in text or "403 W" in text
    assert "455 W" in text
    assert "12 395 r/min" in text or "12 400 r/min" in text
    assert "130 lines written, 2 of them can’t be read" in text.replace("'", "’")
    assert page.select_one("meta[name=robots]")["content"].startswith("noindex")
    assert answer.headers["x-robots-tag"] == "noindex, nofollow"
    assert page.select_one("svg title") is not None
    assert page.select_one("noscript a")["href"] == f"/live/{told}"


def test_a_test_without_readings_says_so(client, test_address) -> None:
    text = text_of(parsed(client.get(f"/live/{test_address}").text))
    assert "No readings have come yet" in text


def test_a_test_ends_and_leads_to_its_run(client, told, sender, run) -> None:
    client.put(f"{LIVE}/{told}", json={"has_ended": True}, headers=sender)
    page = parsed(client.get(f"/live/{told}").text)
    assert "The test is over" in text_of(page)
    assert page.select_one("noscript") is None
    assert page.select_one("#live-now")["data-running"] == "no"
    assert client.put(f"{LIVE}/{told}", json={"run": run["id"]}, headers=sender).status_code == 204
    assert client.get(f"{LIVE}/{told}").json()["run"] == run["id"]
    assert parsed(client.get(f"/live/{told}").text).select_one(f'a[href="/runs/{run["id"]}"]')
    assert client.get(f"{LIVE}/{told}").json()["now"] == READINGS["now"]


def test_a_run_that_is_not_published_is_not_led_to(sqlite_settings: Settings) -> None:
    waits = {"standing_runs": 5, "first_run_waits": True}
    app = create_app(sqlite_settings.model_copy(update=waits))
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    sender = {"Authorization": f"Bearer {token}"}
    with TestClient(app) as client:
        run = client.post("/api/v1/runs", files=parts(), headers=sender).json()
        assert run["state"] == "waiting"
        address = client.post(LIVE, json={}, headers=sender).json()["address"]
        told = client.put(f"{LIVE}/{address}", json={"run": run["id"]}, headers=sender)
        assert told.status_code == 204
        assert client.get(f"{LIVE}/{address}").json()["run"] is None
        assert "/runs/" not in client.get(f"/live/{address}").text
    app.state.resources.engine.dispose()


def test_another_testers_run_can_not_be_named(client, told, sender, stranger) -> None:
    theirs = client.post("/api/v1/runs", files=parts(), headers=stranger).json()
    answer = client.put(f"{LIVE}/{told}", json={"run": theirs["id"]}, headers=sender)
    assert answer.status_code == 404


def test_an_address_expires_and_is_swept(app: FastAPI, client, told, sender) -> None:
    engine = app.state.resources.engine
    with read_session(engine) as session:
        row = session.execute(select(t.LiveTestRow)).scalar_one()
    assert timedelta(hours=23, minutes=59) < row.expires_at - now() <= timedelta(hours=24)
    with write_session(engine) as session:
        session.execute(update(t.LiveTestRow).values(expires_at=now() - timedelta(seconds=1)))
    for place in (f"{LIVE}/{told}", f"/live/{told}", f"/live/{told}/now"):
        assert client.get(place).status_code == 404
    assert "a day after its test" in client.get(f"/live/{told}").text
    assert client.put(f"{LIVE}/{told}", json=READINGS, headers=sender).status_code == 404
    with write_session(engine) as session:
        remove_expired_tests(session)
    with read_session(engine) as session:
        assert session.scalar(select(func.count()).select_from(t.LiveTestRow)) == 0


@pytest.mark.parametrize("address", ["short", "a" * 32, "x" * 200, "../../etc", "%00" * 12])
def test_addresses_that_are_none_are_not_found(client, address) -> None:
    assert client.get(f"{LIVE}/{address}").status_code == 404
    assert client.get(f"/live/{address}").status_code == 404


@pytest.mark.parametrize(
    "trace",
    [
        {"trace_s": [], "trace": {}},
        {"trace_s": [0.0], "trace": {"torque": [None]}},
        {"trace_s": [0.0], "trace": {"torque": [0.0], "speed": [-1e9], "shaft_power": [1e9]}},
        {"trace_s": [9.0, 1.0, 1.0], "trace": {"torque": [1.0, None, -1.0]}},
        {"trace_s": [0.0, 1.0], "trace": {"voltage": [1.0, 2.0]}},
    ],
)
def test_any_trace_can_be_drawn(client, told, sender, trace) -> None:
    sent = {"now": {"torque": -0.0}, "highest": {"voltage": 0.0}, **trace}
    assert client.put(f"{LIVE}/{told}", json=sent, headers=sender).status_code == 204
    answer = client.get(f"/live/{told}")
    assert answer.status_code == 200
    assert problems_of(answer.text) == []
    assert "nan" not in answer.text.casefold().replace("maintenance", "")


def test_names_are_text_and_nothing_else(client, sender) -> None:
    title = "<script>alert(1)</script>"
    address = client.post(LIVE, json={"title": title}, headers=sender).json()["address"]
    page = parsed(client.get(f"/live/{address}").text)
    assert page.select_one("h1").get_text() == title
