"""How often something may be done: by account, by address, and what the refusal says."""

import shutil
import socket
import subprocess
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from types import SimpleNamespace

import pytest
from fastapi import APIRouter, FastAPI, Request
from fastapi.testclient import TestClient
from pydantic import ValidationError

from server.app import create_app
from server.dependencies.limits import Limited, Limits, client_address
from server.errors import TooMany, Unavailable
from server.settings import Settings

router = APIRouter()


@router.post("/ring", dependencies=[Limited("report")])
def ring() -> dict[str, str]:
    return {"bell": "rung"}


def limited(settings: Settings, **changes: object) -> FastAPI:
    app = create_app(settings.model_copy(update=changes))
    app.include_router(router)
    app.include_router(router, prefix="/api/v1")
    return app


@pytest.fixture
def app(sqlite_settings: Settings) -> FastAPI:
    return limited(
        sqlite_settings, limit_report_by_address="2/hour", limit_report_by_account="3/hour"
    )


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, follow_redirects=False) as client:
        yield client


def test_the_third_ring_of_an_address_is_refused(client: TestClient) -> None:
    assert [client.post("/api/v1/ring").status_code for _ in range(3)] == [200, 200, 429]
    refused = client.post("/api/v1/ring")
    document = refused.json()
    assert document["type"] == "/api/v1/problems/too-many"
    assert client.get(document["type"]).json()["status"] == 429
    assert 1 <= int(refused.headers["retry-after"]) <= 7200
    assert refused.headers["cache-control"] == "no-store"


def test_the_refusal_is_told_as_a_page_too(client: TestClient) -> None:
    for _ in range(2):
        client.post("/ring")
    refused = client.post("/ring", headers={"Accept": "text/html"})
    assert refused.status_code == 429
    assert "Try again in" in refused.text
    assert int(refused.headers["retry-after"]) >= 1


def test_an_account_has_its_own_count(client: TestClient, new_token: Callable[..., str]) -> None:
    ada = {"Authorization": f"Bearer {new_token('Ada Quill')}"}
    bo = {"Authorization": f"Bearer {new_token('Bo Marsh')}"}
    rung = [client.post("/ring", headers=ada).status_code for _ in range(4)]
    assert rung == [200, 200, 200, 429]
    assert client.post("/ring", headers=bo).status_code == 200
    assert client.post("/ring").status_code == 200


def test_a_limit_can_be_switched_off(sqlite_settings: Settings) -> None:
    app = limited(sqlite_settings, limit_report_by_address=None)
    with TestClient(app) as client:
        assert {client.post("/ring").status_code for _ in range(50)} == {200}


def test_another_window_counts_anew() -> None:
    limits = Limits(Settings(limit_report_by_address="1/second"))
    limits.count("report", by="address", key="203.0.113.7")
    with pytest.raises(TooMany) as refusal:
        limits.count("report", by="address", key="203.0.113.7")
    assert 1 <= refusal.value.retry_after_s <= 2
    limits.count("report", by="address", key="203.0.113.8")
    limits.count("trial", by="address", key="203.0.113.7")


@pytest.fixture
def shared_store(tmp_path: Path) -> Iterator[str]:
    """The address of a Redis server of the test's own."""
    program = shutil.which("redis-server") or shutil.which("valkey-server")
    if program is None:
        pytest.skip("neither redis-server nor valkey-server is installed")
    with socket.create_server(("127.0.0.1", 0)) as probe:
        port = probe.getsockname()[1]
    kept_in_memory = ["--save", "", "--appendonly", "no", "--dir", str(tmp_path)]
    server = subprocess.Popen(
        [program, "--port", str(port), "--bind", "127.0.0.1", *kept_in_memory],
        stdout=subprocess.DEVNULL,
    )
    for _ in range(200):
        try:
            socket.create_connection(("127.0.0.1", port), timeout=1).close()
            break
        except OSError:
            time.sleep(0.05)
    yield f"redis://127.0.0.1:{port}/0"
    server.terminate()
    server.wait(timeout=20)


def test_processes_share_their_counts_through_the_store(shared_store: str) -> None:
    settings = Settings(rate_store=shared_store, limit_sign_in_by_account="3/hour")
    web_1, web_2 = Limits(settings), Limits(settings)
    for one in (web_1, web_2, web_1):
        one.count("sign_in", by="account", key="ada@bench.example")
    with pytest.raises(TooMany) as refusal:
        web_2.count("sign_in", by="account", key="ada@bench.example")
    assert 1 <= refusal.value.retry_after_s <= 7200
    # Who tried is nobody's business there.
    import redis

    with redis.Redis.from_url(shared_store) as client:
        names = b" ".join(client.keys())
    assert names
    assert b"ada" not in names


def test_a_store_that_is_away_is_said_and_nothing_is_let_through() -> None:
    limits = Limits(Settings(rate_store="redis://127.0.0.1:9"))
    with pytest.raises(Unavailable):
        limits.count("sign_in", by="account", key="ada@bench.example")


@pytest.mark.parametrize("rate", ["often", "0/hour", "5", "5/fortnight", "-1/hour", "5 / hour"])
def test_a_rate_that_says_nothing_is_refused_at_the_start(rate: str) -> None:
    with pytest.raises(ValidationError, match="limit_report_by_address"):
        Settings(limit_report_by_address=rate)


def heard(proxies: int, peer: str = "192.0.2.1", *forwarded: str) -> str:
    scope = {
        "type": "http",
        "client": (peer, 5),
        "headers": [(b"x-forwarded-for", value.encode()) for value in forwarded],
        "app": SimpleNamespace(state=SimpleNamespace(settings=Settings(trusted_proxies=proxies))),
    }
    return client_address(Request(scope))


@pytest.mark.parametrize(
    ("proxies", "forwarded", "address"),
    [
        (0, ["203.0.113.7"], "192.0.2.1"),
        (1, ["203.0.113.7"], "203.0.113.7"),
        (1, ["198.51.100.1, 203.0.113.7"], "203.0.113.7"),
        (2, ["198.51.100.1, 203.0.113.7"], "198.51.100.1"),
        (1, ["198.51.100.1", "203.0.113.7"], "203.0.113.7"),
        (2, ["203.0.113.7"], "192.0.2.1"),
        (1, [], "192.0.2.1"),
        (1, ["2001:db8:1:2:3:4:5:6"], "2001:db8:1:2::/64"),
        (1, ["::ffff:203.0.113.7"], "203.0.113.7"),
        (1, ["nonsense"], "nonsense"),
    ],
)
def test_only_as_many_proxies_as_are_trusted_are_believed(
    proxies: int, forwarded: list[str], address: str
) -> None:
    assert heard(proxies, "192.0.2.1", *forwarded) == address
