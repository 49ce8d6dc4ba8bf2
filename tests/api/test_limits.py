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
from server.commands.serve import check_shares
from server.dependencies.limits import Limited, Limits, client_address
from server.dependencies.own_counts import OwnCounts
from server.errors import BenchledgerError, TooMany, Unavailable
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


def test_processes_without_a_store_share_a_limit_out() -> None:
    settings = Settings(limit_sign_in_by_account="5/hour")
    processes = [Limits(settings, n_processes=2) for _ in range(2)]

    def takes(one: Limits, key: str) -> bool:
        try:
            one.count("sign_in", by="account", key=key)
        except TooMany:
            return False
        return True

    in_turns = [takes(processes[nth % 2], "ada@bench.example") for nth in range(10)]
    assert sum(in_turns) == 4  # five between two: never six
    # Whoever always comes to the same one has its share.
    assert [takes(processes[0], "bo@bench.example") for _ in range(3)] == [True, True, False]


def test_a_limit_too_small_to_be_shared_out_is_refused_before_anything_starts() -> None:
    with pytest.raises(BenchledgerError, match=r"8 web processes can't share BENCHLEDGER_LIMIT_"):
        check_shares(Settings(web_processes=8))
    check_shares(Settings(web_processes=8, rate_store="redis://127.0.0.1:9"))
    check_shares(Settings(web_processes=4))
    small = Settings(web_processes=2, limit_report_by_address="1/hour")
    with pytest.raises(BenchledgerError, match="BENCHLEDGER_LIMIT_REPORT_BY_ADDRESS out among"):
        check_shares(small)


def test_a_window_slides_and_says_when_there_is_room_again() -> None:
    at = [0.0]
    counts = OwnCounts(lambda: at[0])

    def hit() -> float | None:
        return counts.hit("ada", most=10, window_s=100)

    assert [hit() for _ in range(10)] == [None] * 10
    assert hit() == pytest.approx(100)  # as soon as the first window is over
    at[0] = 100.0
    # All ten of the window before weigh in as it begins, seven at 30 s.
    assert hit() == pytest.approx(0)
    at[0] = 130.0
    assert [hit() for _ in range(3)] == [None] * 3
    wait = hit()
    assert wait == pytest.approx(0)
    at[0] = 130.1
    assert hit() is None
    refused = hit()
    assert refused is not None
    at[0] += refused - 0.01
    assert hit() is not None
    at[0] += 0.02
    assert hit() is None
    at[0] = 300.0  # two windows later nothing of it is left
    assert [hit() for _ in range(11)] == [None] * 10 + [pytest.approx(100)]
    assert counts.hit("bo", most=10, window_s=100) is None


def test_what_weighs_more_takes_more_room() -> None:
    at = [0.0]
    counts = OwnCounts(lambda: at[0])
    assert counts.hit("ada", most=10, window_s=100) is None
    counts.add("ada", 39, window_s=100)
    wait = counts.hit("ada", most=10, window_s=100)
    assert wait == pytest.approx(175)
    at[0] = 174.9
    assert counts.hit("ada", most=10, window_s=100) is not None
    at[0] = 175.1
    assert counts.hit("ada", most=10, window_s=100) is None
    counts.add("ada", -5, window_s=100)
    assert counts.hit("ada", most=10, window_s=100) is None


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
