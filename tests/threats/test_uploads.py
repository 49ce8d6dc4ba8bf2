"""Uploads that mean harm: too large, too slow, under names that lead elsewhere."""

import io
import json
import tarfile
from pathlib import Path
from typing import Any

import anyio
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from starlette.types import Message

from server.actions.backup import restore
from server.actions.issue_token import issue_token
from server.app import create_app
from server.errors import Unusable
from server.settings import Settings
from server.store.database import write_session
from server.store.files import INCOMING, ORIGINALS, RECORDINGS, bare_name
from tests.api.logs import BENCH, small_log

NAMES = (
    "../../etc/passwd",
    "..\\..\\windows\\win.ini",
    "/etc/shadow",
    "C:\\Users\\x\\run.csv",
    "....//....//run.csv",
    "..",
    ".",
    "run.csv/../../x",
    "%2e%2e%2frun.csv",
    "nul\x01byte.csv",
    "a" * 500,
)


def stored(settings: Settings) -> set[str]:
    folders = (INCOMING, ORIGINALS, RECORDINGS)
    found = [p for folder in folders for p in (settings.files / folder).rglob("*")]
    return {p.relative_to(settings.files).as_posix() for p in found if p.is_file()}


def token_of(app: FastAPI) -> str:
    with write_session(app.state.resources.engine) as session:
        return issue_token(session, tester="Ada Quill").token


def upload_scope(path: str, token: str, *headers: tuple[bytes, bytes]) -> dict[str, Any]:
    return {
        "type": "http",
        "http_version": "1.1",
        "method": "POST",
        "path": path,
        "raw_path": path.encode(),
        "root_path": "",
        "scheme": "http",
        "query_string": b"",
        "server": ("test", 80),
        "client": ("127.0.0.1", 1),
        "headers": [
            (b"host", b"test"),
            (b"authorization", f"Bearer {token}".encode()),
            (b"content-type", b"text/csv"),
            *headers,
        ],
    }


def send_slowly(
    app: FastAPI, pieces: list[bytes], *, pause_s: float, then_wait: bool
) -> tuple[int, str]:
    """Send a body piece by piece; status and text of the answer."""
    sent: list[Message] = []
    token = token_of(app)
    left = list(pieces)

    async def receive() -> Message:
        if left:
            await anyio.sleep(pause_s)
            return {"type": "http.request", "body": left.pop(0), "more_body": True}
        if then_wait:
            await anyio.sleep(30)
        return {"type": "http.request", "body": b"", "more_body": False}

    async def send(message: Message) -> None:
        sent.append(message)

    async def main() -> None:
        async with app.router.lifespan_context(app):
            await app(upload_scope("/api/v1/runs", token), receive, send)

    anyio.run(main)
    return sent[0]["status"], b"".join(m.get("body", b"") for m in sent[1:]).decode()


@pytest.fixture
def hasty(sqlite_settings: Settings) -> FastAPI:
    """A server that waits a fifth of a second, and wants 4 KiB/s after that."""
    return create_app(
        sqlite_settings.model_copy(update={"sender_patience_s": 0.2, "sender_bytes_per_s": 4096.0})
    )


def test_a_sender_who_stops_is_let_go(hasty: FastAPI) -> None:
    status, text = send_slowly(hasty, [b"time,speed\n"], pause_s=0.0, then_wait=True)
    assert status == 408
    assert "came too slowly" in text
    assert stored(hasty.state.settings) == set()


def test_a_trickle_is_let_go(hasty: FastAPI) -> None:
    status, _ = send_slowly(hasty, [b"1,2\n"] * 100, pause_s=0.05, then_wait=False)
    assert status == 408
    assert stored(hasty.state.settings) == set()


def test_a_slow_but_steady_sender_is_not(hasty: FastAPI) -> None:
    content = small_log().encode()
    pieces = [content[at : at + 2048] for at in range(0, len(content), 2048)]
    status, text = send_slowly(hasty, pieces, pause_s=0.05, then_wait=False)
    assert status == 422, text  # it names no appliance; the file itself arrived
    assert "slowly" not in text


def test_a_body_over_the_limit_leaves_nothing(sqlite_settings: Settings) -> None:
    app = create_app(sqlite_settings.model_copy(update={"max_upload_bytes": 1024}))
    headers = {"Authorization": f"Bearer {token_of(app)}", "Content-Type": "text/csv"}
    with TestClient(app) as client:
        told = client.post("/api/v1/runs", content=b"a" * (6 << 20), headers=headers)
        untold = client.post("/api/v1/runs", content=iter([b"a" * (1 << 20)] * 6), headers=headers)
    assert (told.status_code, untold.status_code) == (413, 413)
    assert stored(sqlite_settings) == set()


@pytest.mark.parametrize("name", NAMES, ids=lambda name: repr(name[:20]))
def test_a_name_leads_nowhere_else(sqlite_settings: Settings, tmp_path: Path, name: str) -> None:
    """A file lies under its digest; what it was called is a word, without any folder."""
    app = create_app(sqlite_settings)
    before = {p for p in tmp_path.rglob("*") if p.is_file()}
    with TestClient(app) as client:
        answer = client.post(
            "/api/v1/runs",
            files={"bench": (None, json.dumps(BENCH)), "file": (name, small_log())},
            headers={"Authorization": f"Bearer {token_of(app)}"},
        )
        assert answer.status_code == 201, answer.text
        run_id = answer.json()["id"]
        kept = client.get(f"/api/v1/runs/{run_id}/file")
    new = {p for p in tmp_path.rglob("*") if p.is_file()} - before
    assert all("files" in p.parts or p.name.startswith("benchledger.sqlite3") for p in new)
    disposition = kept.headers["content-disposition"]
    assert disposition.startswith("attachment; filename")
    assert "/" not in disposition.replace("utf-8''", "")
    assert "\\" not in bare_name(name)
    assert len(bare_name(name)) <= 200


@pytest.mark.parametrize("name", ["../outside", "/tmp/outside", "keys/../../outside"])
def test_an_archive_puts_nothing_outside(tmp_path: Path, name: str) -> None:
    """A backup comes back through a filter that lets no member out of its folder."""
    archive = tmp_path / "made.tar"
    with tarfile.open(archive, "w") as made:
        info = tarfile.TarInfo(name)
        info.size = 4
        made.addfile(info, io.BytesIO(b"evil"))
    with pytest.raises(Unusable):
        restore(Settings(data=tmp_path / "a" / "data", database_url=None), archive)
    assert not list(tmp_path.rglob("outside"))
    assert not Path("/tmp/outside").exists()
