"""Sending a log: multipart and raw, in one piece or not at all, said once however often sent."""

import hashlib
import json
from collections.abc import Iterator

import anyio
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.issue_token import issue_token
from server.app import create_app
from server.intake import read_log, recording_digest
from server.intake.ahead import PIECE_BYTES
from server.settings import Settings
from server.store.database import write_session
from tests.api.logs import BENCH, parts, small_log

RUNS = "/api/v1/runs"


def incoming(app: FastAPI) -> list[str]:
    return [path.name for path in (app.state.settings.files / "incoming").glob("*")]


def test_a_log_is_answered_with_its_figures(client, app, sender) -> None:
    answer = client.post(RUNS, files=parts(), headers=sender)
    assert answer.status_code == 201
    run = answer.json()
    assert answer.headers["location"] == f"{RUNS}/{run['id']}"
    assert run["state"] == "published"
    steady = run["results"]["metrics"]["shaft_power_max_steady"]
    # 2000 T - 2200 T^2 is highest at T = 2000/4400, with 2000^2/8800 W.
    assert steady["value"] == pytest.approx(2000**2 / 8800, rel=0.01)
    assert steady["unit"] == "W"
    assert [claim["wording"] for claim in run["results"]["claims"]] == ["5.0 Peak HP*"]
    assert client.get(answer.headers["location"]).json()["results"] == run["results"]
    assert incoming(app) == []


def test_the_file_may_come_before_the_bench(client, sender) -> None:
    sent = parts()
    reordered = {"file": sent["file"], "bench": sent["bench"]}
    answer = client.post(RUNS, files=reordered, headers=sender)
    assert answer.status_code == 201
    assert answer.json()["appliance"]["model"] == "WD-30"


@pytest.mark.parametrize("first", ["bench", "file"])
def test_a_large_log_is_read_while_it_arrives(client, app, sender, tmp_path, monkeypatch, first):
    log = small_log(dwell_s=1250.0).encode()
    assert len(log) > PIECE_BYTES
    path = tmp_path / "log.csv"
    path.write_bytes(log)
    whole = recording_digest(read_log(path, name="log.csv").recording)

    def never(*_: object, **__: object) -> None:
        raise AssertionError("the file was read once more")

    monkeypatch.setattr("server.intake.table.read_whole", never)
    sent = parts(log.decode())
    ordered = {first: sent.pop(first), **sent}
    assert client.post(RUNS, files=ordered, headers=sender).status_code == 201
    app.state.resources.recordings.close()
    assert [p.stem for p in app.state.settings.files.glob("recordings/*/*")] == [whole]
    assert app.state.resources.followers.value == 1


def test_a_log_that_arrives_beside_another_is_read_when_it_is_there(client, app, sender) -> None:
    client.portal.call(app.state.resources.followers.acquire_nowait)
    log = small_log(dwell_s=1250.0)
    assert client.post(RUNS, files=parts(log), headers=sender).status_code == 201
    assert app.state.resources.followers.value == 0


def test_a_raw_body_refers_to_stored_things_by_id(client, sender, run) -> None:
    log = small_log(dwell_s=1.5)
    answer = client.post(
        RUNS,
        params={
            "appliance": run["appliance"]["id"],
            "rig": run["rig"]["id"],
            "file_name": "second.csv",
            "tested_on": "2026-11-03",
            "notes": "A second one",
        },
        content=log.encode(),
        headers={**sender, "Content-Type": "text/csv"},
    )
    assert answer.status_code == 201, answer.text
    second = answer.json()
    assert second["appliance"]["id"] == run["appliance"]["id"]
    assert second["rig"] == run["rig"]
    assert second["plate"]["current"] == run["plate"]["current"]
    assert (second["tested_on"], second["notes"]) == ("2026-11-03", "A second one")
    assert second["file"] == {
        "name": "second.csv",
        "sha256": hashlib.sha256(log.encode()).hexdigest(),
        "bytes": len(log),
    }


def test_the_file_comes_back_byte_for_byte(client, sender, run) -> None:
    answer = client.get(f"{RUNS}/{run['id']}/file")
    assert answer.content == small_log().encode()
    assert answer.headers["content-type"] == "application/octet-stream"
    assert answer.headers["content-disposition"] == 'attachment; filename="run.csv"'
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert 'rel="license"' in answer.headers["link"]
    again = client.get(
        f"{RUNS}/{run['id']}/file", headers={"If-None-Match": answer.headers["etag"]}
    )
    assert (again.status_code, again.content) == (304, b"")


def test_an_idempotency_key_stores_one_run(client, sender) -> None:
    keyed = {**sender, "Idempotency-Key": "one"}
    first = client.post(RUNS, files=parts(), headers=keyed)
    second = client.post(RUNS, files=parts(), headers=keyed)
    other = client.post(RUNS, files=parts(small_log(dwell_s=1.0)), headers=keyed)
    assert (first.status_code, second.status_code, other.status_code) == (201, 200, 409)
    assert second.json() == first.json()
    assert second.headers["location"] == first.headers["location"]
    assert len(client.get(RUNS).json()["items"]) == 1


@pytest.fixture
def patient(sqlite_settings: Settings) -> Iterator[TestClient]:
    """A server that leaves every log to its worker."""
    app = create_app(sqlite_settings.model_copy(update={"inline_rows": 10}))
    with TestClient(app) as client:
        with write_session(app.state.resources.engine) as session:
            token = issue_token(session, tester="Ada Quill").token
        client.headers["Authorization"] = f"Bearer {token}"
        yield client


def test_a_large_log_is_answered_with_a_status_address(patient) -> None:
    answer = patient.post(RUNS, files=parts())
    assert answer.status_code == 202
    status = answer.json()
    assert (status["state"], status["failure"]) == ("working", None)
    assert answer.headers["location"] == f"{RUNS}/{status['id']}/status"
    asked = patient.get(answer.headers["location"])
    assert asked.json() == status
    assert asked.headers["retry-after"] == "1"
    run = patient.get(status["run"]).json()
    assert (run["state"], run["results"]) == ("working", None)
    figures = patient.get(f"{status['run']}/metrics")
    assert (figures.status_code, "no figures" in figures.json()["detail"]) == (404, True)


@pytest.mark.parametrize(
    ("change", "status", "kind", "field"),
    [
        ({"file": None}, 422, "invalid-input", "file"),
        ({"file": ("run.csv", "", "text/csv")}, 422, "invalid-input", "file"),
        ({"bench": (None, "{", "application/json")}, 422, "unusable-bench", "bench"),
        ({"bench": (None, "[" * 100_000, "application/json")}, 422, "unusable-bench", "bench"),
        (
            {
                "bench": (
                    None,
                    json.dumps({**BENCH, "plate": {"voltage": "120"}}),
                    "application/json",
                )
            },
            422,
            "unusable-bench",
            "plate.voltage",
        ),
        ({"bench": None}, 422, "invalid-input", "appliance.maker"),
    ],
)
def test_what_is_wrong_is_named(client, app, sender, change, status, kind, field) -> None:
    sent = {name: part for name, part in {**parts(), **change}.items() if part is not None}
    answer = client.post(RUNS, files=sent, headers=sender)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == f"/api/v1/problems/{kind}"
    assert problem["problems"][0]["field"] == field
    assert problem["problems"][0]["message"]
    assert incoming(app) == []
    assert client.get(RUNS).json()["items"] == []


def test_a_log_that_cant_be_used_names_the_place(client, sender) -> None:
    answer = client.post(RUNS, files=parts("one,two\nthree\n"), headers=sender)
    assert answer.status_code == 422
    problem = answer.json()
    assert problem["type"] == "/api/v1/problems/unusable-log"
    assert problem["problems"]
    assert all(one["message"] and one["remedy"] for one in problem["problems"])


def test_other_sorts_of_body_are_refused(client, sender) -> None:
    as_json = client.post(RUNS, json=BENCH, headers=sender)
    as_form = client.post(RUNS, data={"a": "b"}, headers=sender)
    assert (as_json.status_code, as_form.status_code) == (415, 415)
    assert as_json.json()["type"] == "/api/v1/problems/unsupported-media-type"


@pytest.mark.parametrize(
    "body",
    [
        b"",
        b"--x\r\nContent-Disposition: form-data; name=file; filename=a.csv\r\n\r\ntime,sp",
        b"no boundary at all",
        b"--x\r\n" + b"A" * 20_000,
    ],
)
def test_a_broken_multipart_body_is_refused(client, app, sender, body: bytes) -> None:
    headers = {**sender, "Content-Type": "multipart/form-data; boundary=x"}
    answer = client.post(RUNS, content=body, headers=headers)
    assert answer.status_code == 400
    assert answer.json()["type"] == "/api/v1/problems/malformed"
    assert incoming(app) == []


def test_sending_needs_a_token_that_may_send(client, new_token) -> None:
    without = client.post(RUNS, files=parts())
    unknown = client.post(RUNS, files=parts(), headers={"Authorization": "Bearer bl_none"})
    basic = client.post(RUNS, files=parts(), headers={"Authorization": "Basic abc"})
    looker = {"Authorization": f"Bearer {new_token('Cy Dell', ('maintain',))}"}
    barred = client.post(RUNS, files=parts(), headers=looker)
    assert [a.status_code for a in (without, unknown, basic, barred)] == [401, 401, 401, 403]
    assert without.headers["www-authenticate"] == "Bearer"
    assert client.get(RUNS).json()["items"] == []


def test_another_testers_rig_is_not_used(client, run, stranger) -> None:
    answer = client.post(
        RUNS,
        params={"appliance": run["appliance"]["id"], "rig": run["rig"]["id"]},
        content=small_log().encode(),
        headers={**stranger, "Content-Type": "text/csv"},
    )
    assert answer.status_code == 403
    assert answer.json()["type"] == "/api/v1/problems/not-allowed"


def test_a_sender_who_hangs_up_leaves_nothing(app, token) -> None:
    """The connection ends in the middle of the body: no file, no run, no defect."""
    messages = [
        {"type": "http.request", "body": small_log().encode()[:2000], "more_body": True},
        {"type": "http.disconnect"},
    ]
    statuses: list[int] = []

    async def receive() -> dict[str, object]:
        return messages.pop(0)

    async def send(message: dict[str, object]) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])  # type: ignore[arg-type]

    scope = {
        "type": "http",
        "http_version": "1.1",
        "method": "POST",
        "path": RUNS,
        "raw_path": RUNS.encode(),
        "query_string": b"",
        "root_path": "",
        "scheme": "http",
        "server": ("test", 80),
        "headers": [
            (b"host", b"test"),
            (b"content-type", b"text/csv"),
            (b"authorization", f"Bearer {token}".encode()),
        ],
    }
    anyio.run(app, scope, receive, send)
    assert statuses == [400]
    assert messages == []
    assert incoming(app) == []
    assert TestClient(app).get(RUNS).json()["items"] == []
