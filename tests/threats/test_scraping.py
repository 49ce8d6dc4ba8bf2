"""Whoever takes everything is told to slow down; whoever reads is not."""

import pytest
from fastapi.testclient import TestClient

from server.app import create_app
from server.dependencies.limits import Limits
from server.settings import Settings
from server.store.database import make_engine
from tests.api.logs import small_log
from tests.threats.fill import fill_ledger


@pytest.fixture
def scraped(sqlite_settings: Settings) -> tuple[TestClient, str]:
    engine = make_engine(sqlite_settings)
    run_id = fill_ledger(sqlite_settings, engine, log=small_log())
    engine.dispose()
    limited = sqlite_settings.model_copy(update={"limit_download_by_address": "5/hour"})
    return TestClient(create_app(limited)), run_id


@pytest.mark.parametrize("part", ["file", "trace"])
def test_heavy_parts_are_counted_by_address(scraped: tuple[TestClient, str], part: str) -> None:
    client, run_id = scraped
    address = f"/api/v1/runs/{run_id}/{part}?nth="
    statuses = [client.get(f"{address}{nth}").status_code for nth in range(7)]
    assert statuses == [200] * 5 + [429] * 2
    refused = client.get(f"{address}8")
    assert 0 < int(refused.headers["retry-after"]) <= 3600
    assert refused.headers["content-type"] == "application/problem+json"


def reading(settings: Settings, rate: str) -> TestClient:
    return TestClient(create_app(settings.model_copy(update={"limit_read_by_address": rate})))


def test_reading_in_bulk_is_counted_by_address(
    scraped: tuple[TestClient, str], sqlite_settings: Settings
) -> None:
    _, run_id = scraped
    client = reading(sqlite_settings, "6/hour")
    paths = [f"/runs/{run_id}", f"/api/v1/runs/{run_id}"]
    statuses = [client.get(f"{paths[nth % 2]}?nth={nth}").status_code for nth in range(8)]
    assert statuses == [200] * 6 + [429] * 2
    refused = client.get(paths[1], headers={"Authorization": "Bearer nonsense"})
    assert refused.status_code == 429
    assert refused.headers["content-type"] == "application/problem+json"
    assert refused.json()["type"] == "/api/v1/problems/too-many"
    assert 0 < int(refused.headers["retry-after"]) <= 3600
    page = client.get(f"{paths[0]}?nth=9", headers={"Accept": "text/html"})
    assert page.status_code == 429
    assert "Try again in" in page.text
    assert 0 < int(page.headers["retry-after"]) <= 3600
    # Other addresses read on, and so does what keeps a page whole.
    elsewhere = TestClient(client.app, client=("203.0.113.9", 50000))
    assert elsewhere.get(paths[0]).status_code == 200
    assert client.get("/healthz").status_code == 200
    assert client.post(f"/api/v1/runs/{run_id}/withdrawal").status_code == 401


def test_what_was_kept_or_known_already_is_not_counted(
    scraped: tuple[TestClient, str], sqlite_settings: Settings
) -> None:
    _, run_id = scraped
    client = reading(sqlite_settings, "4/hour")
    assert {client.get(f"/runs/{run_id}").status_code for _ in range(20)} == {200}
    for path in (f"/runs/{run_id}?a", f"/api/v1/runs/{run_id}"):
        etag = client.get(path).headers["etag"]
        known = {"If-None-Match": etag, "Cookie": "theme=dark"}  # past the kept answers
        assert {client.get(path, headers=known).status_code for _ in range(20)} == {304}
    assert [client.get(f"/runs/{run_id}?{n}").status_code for n in range(2)] == [200, 429]


@pytest.mark.parametrize("table", ["/api/v1/runs?format=csv", "/api/v1/appliances?limit=200"])
def test_a_table_counts_ten(
    scraped: tuple[TestClient, str], sqlite_settings: Settings, table: str
) -> None:
    client = reading(sqlite_settings, "21/hour")
    # With a cookie, so that each is made anew.
    statuses = [client.get(table, headers={"Cookie": f"n={n}"}).status_code for n in range(4)]
    assert statuses == [200, 200, 200, 429]


def test_readers_are_let_read(scraped: tuple[TestClient, str]) -> None:
    client, run_id = scraped
    for _ in range(30):
        for path in ("/", "/appliances", f"/runs/{run_id}", f"/api/v1/runs/{run_id}/metrics"):
            assert client.get(path).status_code == 200


def test_a_class_behind_one_address_reads_for_an_hour() -> None:
    """Thirty readers, a page each every twenty seconds, with two more answers to each page; every
    one made anew, all of them by one of two processes alone, or by both in turns."""
    n_answers = 30 * (3600 // 20) * 3
    settings = Settings()
    shares = [Limits(settings, n_processes=2) for _ in range(2)]
    for nth in range(n_answers):
        shares[nth % 2].count_reading("203.0.113.7")
