"""A file in pieces: offsets, interruptions, limits, and what is left when it is given up."""

from collections.abc import Callable
from datetime import timedelta
from pathlib import Path

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.upload_in_pieces import sweep_uploads
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.journal import now
from server.store.partial_files import partial_path
from tests.api.logs import small_log

Headers = dict[str, str]
LOG = small_log().encode()


def begin(client: TestClient, sender: Headers, n_bytes: int = len(LOG)) -> str:
    answer = client.post(
        "/api/v1/uploads", json={"file_name": "a/big.csv", "n_bytes": n_bytes}, headers=sender
    )
    assert answer.status_code == 201, answer.text
    assert answer.headers["upload-offset"] == "0"
    assert answer.json()["file_name"] == "big.csv"
    return str(answer.headers["location"])


def send(client: TestClient, sender: Headers, address: str, at: int, piece: bytes):  # type: ignore[no-untyped-def]
    more = {"Upload-Offset": str(at), "Content-Type": "application/partial-upload"}
    return client.patch(address, content=piece, headers={**sender, **more})


def files_of(app: FastAPI) -> Path:
    return Path(app.state.settings.files)


def test_a_file_in_pieces_becomes_a_draft(
    app: FastAPI, client: TestClient, sender: Headers
) -> None:
    address = begin(client, sender)
    half = len(LOG) // 2
    first = send(client, sender, address, 0, LOG[:half])
    assert first.status_code == 200
    assert first.headers["upload-offset"] == str(half)
    asked = client.head(address, headers=sender)
    assert asked.headers["upload-offset"] == str(half)
    assert asked.headers["upload-complete"] == "?0"
    last = send(client, sender, address, half, LOG[half:])
    assert last.status_code == 201, last.text
    assert last.json()["draft"].endswith("/columns")
    assert client.get(address, headers=sender).status_code == 404
    assert list((files_of(app) / "partial").iterdir()) == []
    with read_session(app.state.resources.engine) as session:
        draft = session.execute(sa.select(t.DraftRow)).scalar_one()
    stored = files_of(app) / "originals" / draft.file_sha256[:2] / draft.file_sha256
    assert stored.read_bytes() == LOG
    assert draft.form["file.n_lines"] == str(LOG.count(b"\n"))


def test_a_piece_must_begin_where_the_last_one_ended(client: TestClient, sender: Headers) -> None:
    address = begin(client, sender)
    send(client, sender, address, 0, LOG[:100])
    for at in (0, 50, 101):
        answer = send(client, sender, address, at, b"x")
        assert answer.status_code == 409
        assert "stands at 100" in answer.json()["detail"]
    assert send(client, sender, address, 100, b"").status_code == 400
    over = send(client, sender, address, 100, LOG)
    assert over.status_code == 422
    assert client.head(address, headers=sender).headers["upload-offset"] == "100"
    # What the refused piece wrote is written over.
    assert send(client, sender, address, 100, LOG[100:]).status_code == 201


def test_what_was_not_acknowledged_is_sent_again(
    app: FastAPI, client: TestClient, sender: Headers
) -> None:
    address = begin(client, sender)
    send(client, sender, address, 0, LOG[:200])
    # A process that ended after writing and before acknowledging.
    path = partial_path(files_of(app), address.rsplit("/", 1)[-1])
    with path.open("ab") as file:
        file.write(b"torn" * 1000)
    assert send(client, sender, address, 200, LOG[200:]).status_code == 201
    with read_session(app.state.resources.engine) as session:
        draft = session.execute(sa.select(t.DraftRow)).scalar_one()
    stored = files_of(app) / "originals" / draft.file_sha256[:2] / draft.file_sha256
    assert stored.read_bytes() == LOG


def test_what_arrived_and_is_gone_is_told(
    app: FastAPI, client: TestClient, sender: Headers
) -> None:
    address = begin(client, sender)
    send(client, sender, address, 0, LOG[:200])
    partial_path(files_of(app), address.rsplit("/", 1)[-1]).unlink()
    answer = send(client, sender, address, 200, LOG[200:])
    assert answer.status_code == 404
    assert "Begin again" in answer.json()["detail"]


def test_a_file_that_is_no_log_is_refused_and_forgotten(
    app: FastAPI, client: TestClient, sender: Headers
) -> None:
    png = b"\x89PNG\r\n\x1a\n" + bytes(range(256)) * 4
    address = begin(client, sender, len(png))
    answer = send(client, sender, address, 0, png)
    assert answer.status_code == 422
    assert client.get(address, headers=sender).status_code == 404
    assert list((files_of(app) / "partial").iterdir()) == []
    assert list((files_of(app) / "incoming").iterdir()) == []


def test_limits_and_owners(
    app: FastAPI, client: TestClient, sender: Headers, stranger: Headers
) -> None:
    too_long = {"file_name": "x", "n_bytes": app.state.settings.max_upload_bytes + 1}
    assert client.post("/api/v1/uploads", json=too_long, headers=sender).status_code == 413
    assert client.post("/api/v1/uploads", json={"file_name": "x", "n_bytes": 9}).status_code == 401
    address = begin(client, sender)
    assert client.get(address, headers=stranger).status_code == 404
    assert send(client, stranger, address, 0, LOG).status_code == 404
    assert client.delete(address, headers=stranger).status_code == 404
    assert client.delete(address, headers=sender).status_code == 204
    assert client.get(address, headers=sender).status_code == 404
    for _ in range(20):
        begin(client, sender)
    full = client.post("/api/v1/uploads", json={"file_name": "x", "n_bytes": 9}, headers=sender)
    assert full.status_code == 409
    assert "GET /api/v1/uploads" in full.json()["detail"]


def test_ones_own_uploads_are_listed_and_given_up(
    client: TestClient, sender: Headers, stranger: Headers
) -> None:
    first, second = begin(client, sender), begin(client, sender)
    send(client, sender, first, 0, LOG[:9])
    listed = client.get("/api/v1/uploads", headers=sender).json()
    ids = [address.rsplit("/", 1)[1] for address in (second, first)]
    assert [(one["id"], one["n_received"]) for one in listed["items"]] == [(ids[0], 0), (ids[1], 9)]
    assert listed["next"] is None
    assert client.get("/api/v1/uploads", headers=stranger).json()["items"] == []
    assert client.delete(second, headers=sender).status_code == 204
    listed = client.get("/api/v1/uploads", headers=sender).json()
    assert [one["id"] for one in listed["items"]] == ids[1:]


def test_an_abandoned_upload_is_swept(app: FastAPI, client: TestClient, sender: Headers) -> None:
    old, new = begin(client, sender), begin(client, sender)
    send(client, sender, old, 0, LOG[:100])
    send(client, sender, new, 0, LOG[:100])
    engine, files = app.state.resources.engine, files_of(app)
    old_id = old.rsplit("/", 1)[-1]
    with write_session(engine) as session:
        row = t.PartialUploadRow
        session.execute(
            sa.update(row).where(row.public_id == old_id)
            .values(updated_at=now() - timedelta(hours=25))
        )  # fmt: skip
    with write_session(engine) as session:
        assert sweep_uploads(session, files=files) == 1
    assert [p.name for p in (files / "partial").iterdir()] == [new.rsplit("/", 1)[-1]]
    assert client.get(old, headers=sender).status_code == 404


@pytest.mark.parametrize("is_signed", [False, True])
def test_the_page_sends_in_pieces_with_an_account_and_without(
    client: TestClient, new_token: Callable[..., str], is_signed: bool
) -> None:
    ours = {"Accept": "application/json", "Sec-Fetch-Site": "same-origin"}
    fields = {"file_name": "big.csv", "n_bytes": str(len(LOG))}
    if is_signed:
        client.post("/sign-in", data={"token": new_token(), "next": "/send"})
        refused = client.post("/send/pieces", data=fields, headers=ours)
        assert refused.status_code == 403
        page = client.get("/send").text
        fields["csrf_token"] = page.split('name="csrf_token" value="')[1].split('"')[0]
    begun = client.post("/send/pieces", data=fields, headers=ours)
    assert begun.status_code == 201, begun.text
    address = begun.json()["location"]
    foreign = client.patch(
        address, content=LOG, headers={"Upload-Offset": "0", "Sec-Fetch-Site": "cross-site"}
    )
    assert foreign.status_code == 403
    first = client.patch(address, content=LOG[:500], headers={**ours, "Upload-Offset": "0"})
    assert first.status_code == 204
    assert client.head(address).headers["upload-offset"] == "500"
    last = client.patch(address, content=LOG[500:], headers={**ours, "Upload-Offset": "500"})
    assert last.status_code == 201, last.text
    assert client.get(last.json()["location"]).status_code == 200
