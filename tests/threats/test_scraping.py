"""Whoever takes everything is told to slow down; whoever reads is not."""

import pytest
from fastapi.testclient import TestClient

from server.app import create_app
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


def test_readers_are_not_counted(scraped: tuple[TestClient, str]) -> None:
    client, run_id = scraped
    for _ in range(30):
        for path in ("/", "/appliances", f"/runs/{run_id}", f"/api/v1/runs/{run_id}/metrics"):
            assert client.get(path).status_code == 200
