"""A file that came in pieces, sent as a run: whose it is, once only, byte for byte."""

import json
from collections.abc import Callable

import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session
from tests.api.logs import BENCH, parts
from tests.api.test_uploads import LOG, Headers, files_of, send


def begin(client: TestClient, sender: Headers) -> str:
    about = {"file_name": "a/big.csv", "n_bytes": len(LOG), "for_run": True}
    answer = client.post("/api/v1/uploads", json=about, headers=sender)
    assert answer.status_code == 201, answer.text
    return str(answer.json()["id"])


def brought(client: TestClient, sender: Headers) -> str:
    """The id of an upload that has arrived whole, in two pieces."""
    upload_id = begin(client, sender)
    for at, end in ((0, 1000), (1000, len(LOG))):
        answer = send(client, sender, f"/api/v1/uploads/{upload_id}", at, LOG[at:end])
        assert answer.status_code == 200, answer.text
    assert answer.headers["upload-complete"] == "?1"
    assert answer.json()["draft"] is None
    return upload_id


def post(client: TestClient, who: Headers, upload_id: str, key: str | None = None, **more: object):  # type: ignore[no-untyped-def]
    headers = {**who, **({"Idempotency-Key": key} if key else {})}
    described = (None, json.dumps(more.pop("bench", BENCH)), "application/json")
    fields = {"bench": described, "upload": (None, upload_id), **more}
    return client.post("/api/v1/runs", files=fields, headers=headers)


def n_runs(app: FastAPI) -> int:
    with read_session(app.state.resources.engine) as session:
        return session.scalar(sa.select(sa.func.count()).select_from(t.RunRow)) or 0


def test_it_is_the_same_run_as_a_file_sent_whole(
    app: FastAPI, client: TestClient, sender: Headers
) -> None:
    run = post(client, sender, brought(client, sender))
    assert run.status_code == 201, run.text
    whole = client.post("/api/v1/runs", files=parts(), headers=sender).json()
    told = run.json()
    assert told["results"]["metrics"] == whole["results"]["metrics"]
    assert told["file"]["sha256"] == whole["file"]["sha256"]
    assert told["file"]["name"] == "big.csv"
    assert client.get(f"/api/v1/runs/{told['id']}/file", headers=sender).content == LOG
    files = files_of(app)
    for folder in ("partial", "incoming"):
        assert list((files / folder).iterdir()) == []


def test_one_upload_is_one_run(app: FastAPI, client: TestClient, sender: Headers) -> None:
    upload_id = brought(client, sender)
    first = post(client, sender, upload_id, "run-3")
    assert first.status_code == 201, first.text
    # The answer was lost: the same again is the same run.
    again = post(client, sender, upload_id, "run-3")
    assert (again.status_code, again.json()["id"]) == (200, first.json()["id"])
    for key in (None, "run-4"):
        refused = post(client, sender, upload_id, key)
        assert refused.status_code == 409
        assert "became a run already" in refused.json()["detail"]
    other = BENCH | {"run": {"tested_on": "2026-11-03"}}
    assert post(client, sender, upload_id, "run-3", bench=other).status_code == 409
    more = send(client, sender, f"/api/v1/uploads/{upload_id}", len(LOG), b"")
    assert more.status_code == 409
    assert n_runs(app) == 1
    # Its file, brought anew under the same key, is that run too, and is not kept for another.
    second = brought(client, sender)
    assert post(client, sender, second, "run-3").status_code == 200
    assert post(client, sender, second, "run-4").status_code == 409
    assert n_runs(app) == 1
    assert list((files_of(app) / "partial").iterdir()) == []


def test_only_ones_own_and_only_when_it_is_whole(
    app: FastAPI,
    client: TestClient,
    sender: Headers,
    stranger: Headers,
    new_token: Callable[..., str],
) -> None:
    upload_id = brought(client, sender)
    assert post(client, stranger, upload_id).status_code == 404
    assert post(client, {}, upload_id).status_code == 401
    other = {"Authorization": f"Bearer {new_token('Cy Reed', scopes=('maintain',))}"}
    assert post(client, other, upload_id).status_code == 403
    assert post(client, sender, "../../etc/passwd").status_code == 404
    part = begin(client, sender)
    send(client, sender, f"/api/v1/uploads/{part}", 0, LOG[:1000])
    half = post(client, sender, part)
    assert half.status_code == 409
    assert "stands at 1000 of" in half.json()["detail"]
    twice = post(client, sender, upload_id, file=("run.csv", LOG, "text/csv"))
    assert twice.status_code == 422
    assert twice.json()["problems"][0]["field"] == "upload"
    assert n_runs(app) == 0
    assert post(client, sender, upload_id).status_code == 201


def test_one_begun_for_a_draft_is_not_sent_behind_its_back(
    app: FastAPI, client: TestClient, sender: Headers
) -> None:
    about = {"file_name": "big.csv", "n_bytes": len(LOG)}
    upload_id = client.post("/api/v1/uploads", json=about, headers=sender).json()["id"]
    send(client, sender, f"/api/v1/uploads/{upload_id}", 0, LOG[:-1])
    assert post(client, sender, upload_id).status_code == 409
    last = send(client, sender, f"/api/v1/uploads/{upload_id}", len(LOG) - 1, LOG[-1:])
    assert last.status_code == 201
    assert post(client, sender, upload_id).status_code == 404


def test_a_refused_bench_keeps_the_upload_for_a_better_one(
    client: TestClient, sender: Headers
) -> None:
    upload_id = brought(client, sender)
    wrong = post(client, sender, upload_id, bench=BENCH | {"rig": {"arm": "100 kg"}})
    assert wrong.status_code == 422
    assert post(client, sender, upload_id).status_code == 201


def test_a_large_one_is_worked_later(
    sqlite_settings: Settings, app: FastAPI, sender: Headers
) -> None:
    settings = sqlite_settings.model_copy(update={"inline_rows": 10})
    with TestClient(create_app(settings)) as client:
        upload_id = brought(client, sender)
        first = post(client, sender, upload_id, "key")
        assert first.status_code == 202, first.text
        again = post(client, sender, upload_id, "key")
        assert (again.status_code, again.json()["id"]) == (202, first.json()["id"])


def test_one_whose_bytes_are_gone_is_told(
    app: FastAPI, client: TestClient, sender: Headers
) -> None:
    upload_id = brought(client, sender)
    (files_of(app) / "partial" / upload_id).unlink()
    gone = post(client, sender, upload_id)
    assert gone.status_code == 404
    assert "Begin again" in gone.json()["detail"]
