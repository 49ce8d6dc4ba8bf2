"""The web process: what it starts with, what it answers when something is not ready."""

import subprocess
import sys
from pathlib import Path

import psutil
import pytest
from fastapi.testclient import TestClient

from server.app import create_app
from server.settings import Settings

ROOT = Path(__file__).parents[1]
HEAVY = ("numpy", "scipy", "polars", "pint", "plotly", "tsdownsample", "obstore", "httpx")

START = """
import sys
from pathlib import Path
from starlette.types import Message
from server.app import create_app
from server.settings import Settings
import anyio

app = create_app(Settings(data=Path(sys.argv[1])))
statuses = []

async def ask(path: str) -> None:
    async def receive():
        return {"type": "http.request", "body": b"", "more_body": False}
    async def send(message: Message) -> None:
        if message["type"] == "http.response.start":
            statuses.append(message["status"])
    scope = {"type": "http", "http_version": "1.1", "method": "GET", "path": path, "headers": [],
             "query_string": b"", "root_path": "", "scheme": "http", "server": ("test", 80),
             "raw_path": path.encode()}
    await app(scope, receive, send)

async def main() -> None:
    async with app.router.lifespan_context(app):
        for path in sys.argv[2].split(","):
            await ask(path)

anyio.run(main)
print(statuses)
print([name for name in %r if name in sys.modules])
""" % (HEAVY,)  # noqa: UP031  braces stand in the script


@pytest.fixture
def started(sqlite_settings: Settings):
    def start(*paths: str) -> list[str]:
        done = subprocess.run(
            [sys.executable, "-c", START, str(sqlite_settings.data), ",".join(paths)],
            capture_output=True,
            text=True,
            check=True,
            cwd=ROOT,
        )
        return done.stdout.splitlines()

    return start


def test_a_web_process_reads_without_numerics(started) -> None:
    paths = ("/healthz", "/", "/appliances", "/api/v1/appliances", "/api/v1/runs", "/methods")
    statuses, heavy = started(*paths)
    assert statuses == str([200] * len(paths))
    assert heavy == "[]"


def test_a_web_process_is_small(sqlite_settings: Settings) -> None:
    """Under 110 MB after its first page, on whatever machine."""
    script = START + "import psutil; print(psutil.Process().memory_info().rss)"
    done = subprocess.run(
        [sys.executable, "-c", script, str(sqlite_settings.data), "/"],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
    )
    assert psutil.virtual_memory().total > 0
    assert int(done.stdout.splitlines()[-1]) < 110e6


def test_healthz_answers_when_the_database_does(sqlite_settings: Settings) -> None:
    with TestClient(create_app(sqlite_settings)) as client:
        answer = client.get("/healthz")
    assert (answer.status_code, answer.json()) == (200, {"status": "ready"})
    assert answer.headers["cache-control"] == "no-store"


def test_healthz_tells_when_the_database_does_not_answer(tmp_path: Path) -> None:
    settings = Settings(data=tmp_path, database_url="postgresql://nobody@127.0.0.1:1/none")
    with TestClient(create_app(settings)) as client:
        answer = client.get("/healthz")
    assert answer.status_code == 503
    assert answer.json()["type"] == "/api/v1/problems/unavailable"


def test_settings_are_read_when_the_application_is_made(tmp_path, monkeypatch) -> None:
    monkeypatch.setenv("BENCHLEDGER_DATA", str(tmp_path / "elsewhere"))
    app = create_app()
    assert app.state.settings.data == tmp_path / "elsewhere"


def test_a_wrong_address_is_a_page_for_people(sqlite_settings: Settings) -> None:
    with TestClient(create_app(sqlite_settings)) as client:
        page = client.get("/nothing", headers={"Accept": "text/html"})
        as_json = client.get("/nothing", headers={"Accept": "application/json"})
    assert (page.status_code, as_json.status_code) == (404, 404)
    assert page.headers["content-type"].startswith("text/html")
    assert "nonce-" in page.headers["content-security-policy"]
    assert as_json.headers["content-type"] == "application/problem+json"
