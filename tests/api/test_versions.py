"""Earlier figures stay readable: each set of a run's figures has an address of its own."""

from collections.abc import Callable, Iterator
from dataclasses import replace

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine

from server.actions import reduce_again
from server.actions.issue_token import issue_token
from server.actions.recompute_runs import recompute_runs
from server.actions.reduce_log import reduce_described
from server.app import create_app
from server.model.measured import Finding
from server.model.results import Reduction
from server.model.words import FindingCode, MetricName, Severity
from server.settings import Settings
from server.store.database import write_session
from tests.api.logs import parts

V1 = "/api/v1"
POWER = MetricName.SHAFT_POWER_MAX_STEADY
ERROR = Finding(FindingCode.EFFICIENCY_IMPOSSIBLE, Severity.ERROR, {"efficiency": 1.2})
Recompute = Callable[..., None]
Client = TestClient


@pytest.fixture
def app(settings: Settings) -> Iterator[FastAPI]:
    """On both databases."""
    app = create_app(settings)
    yield app
    app.state.resources.engine.dispose()


@pytest.fixture
def recompute(app: FastAPI, settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Recompute:
    """Recompute everything by a made-up next method that gives the shaft power times `factor`."""
    engine: Engine = app.state.resources.engine

    def run(method: str, *, factor: float, findings: tuple[Finding, ...] = ()) -> None:
        def reduced(*given: object, **named: object) -> Reduction:
            found = reduce_described(*given, **named)  # type: ignore[arg-type]
            power = found.metrics[POWER]
            assert power.value is not None
            scaled = replace(power, value=power.value * factor)
            return replace(
                found,
                method_version=method,
                metrics={**found.metrics, POWER: scaled},
                findings=(*found.findings, *findings),
            )

        monkeypatch.setattr(reduce_again, "reduce_described", reduced)
        list(recompute_runs(engine, files=settings.files))

    return run


def power_of(metrics: list[dict]) -> dict:
    return next(one for one in metrics if one["name"] == POWER.value)


def test_each_set_of_figures_keeps_its_address(
    client: Client, run: dict, recompute: Recompute
) -> None:
    address = f"{V1}/runs/{run['id']}"
    before = client.get(f"{address}/metrics").json()["items"]
    findings = client.get(f"{address}/findings").json()["items"]
    recompute("brake-next", factor=1.1)
    listed = client.get(f"{address}/versions").json()
    assert listed["next"] is None
    made = run["results"]["method_version"]
    assert [(v["number"], v["method_version"], v["is_current"]) for v in listed["items"]] == [
        (2, "brake-next", True),
        (1, made, False),
    ]
    assert listed["items"][0]["made_at"] > listed["items"][1]["made_at"]
    old = client.get(f"{address}/versions/1").json()
    assert {name: old[name] for name in listed["items"][1]} == listed["items"][1]
    # With their intervals and budgets, to the last digit.
    assert old["metrics"] == before
    assert power_of(old["metrics"])["budget"]
    assert old["findings"] == findings
    new = client.get(f"{address}/versions/2").json()
    assert new["metrics"] == client.get(f"{address}/metrics").json()["items"]
    ratio = power_of(new["metrics"])["value"] / power_of(before)["value"]
    assert ratio == pytest.approx(1.1)


@pytest.mark.parametrize("number", ["0", "2", "01", "-1", "1.0", "x", "9" * 30, "²"])
def test_a_version_that_is_not_there_is_a_404_with_words(
    client: Client, run: dict, number: str
) -> None:
    answer = client.get(f"{V1}/runs/{run['id']}/versions/{number}")
    assert answer.status_code == 404
    assert answer.headers["content-type"] == "application/problem+json"
    assert "There is no version" in answer.json()["detail"]
    page = client.get(f"/runs/{run['id']}/versions/{number}", headers={"Accept": "text/html"})
    assert page.status_code == 404


def test_a_run_that_is_not_there_has_no_versions(client: Client) -> None:
    for end in ("", "/1"):
        answer = client.get(f"{V1}/runs/0000000000/versions{end}")
        assert answer.status_code == 404
        assert "There is no run 0000000000" in answer.json()["detail"]


def test_versions_of_a_hidden_run_are_its_testers_alone(
    client: Client, run: dict, recompute: Recompute, sender: dict, stranger: dict
) -> None:
    recompute("brake-held", factor=1.1, findings=(ERROR,))
    address = f"{V1}/runs/{run['id']}/versions"
    for end in ("", "/1", "/2"):
        assert client.get(address + end).status_code == 404
        assert client.get(address + end, headers=stranger).status_code == 404
        own = client.get(address + end, headers=sender)
        assert own.status_code == 200
        assert own.headers["cache-control"] == "private, no-cache"
    page = f"/runs/{run['id']}/versions/1"
    assert client.get(page).status_code == 404
    assert client.get(page, headers=stranger).status_code == 404


def test_a_set_that_was_never_published_keeps_its_number_and_stays_hidden(
    client: Client, app: FastAPI, run: dict, recompute: Recompute, sender: dict, stranger: dict
) -> None:
    recompute("brake-held", factor=1.1, findings=(ERROR,))
    recompute("brake-next", factor=1.2)
    address = f"{V1}/runs/{run['id']}/versions"
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Cy Lund", scopes=("maintain",)).token
    maintainer = {"Authorization": f"Bearer {token}"}
    for who, numbers in (
        ({}, [3, 1]),
        (stranger, [3, 1]),
        (sender, [3, 2, 1]),
        (maintainer, [3, 2, 1]),
    ):
        items = client.get(address, headers=who).json()["items"]
        assert [one["number"] for one in items] == numbers
        status = client.get(f"{address}/2", headers=who).status_code
        assert status == (200 if 2 in numbers else 404)
    hidden = client.get(f"{address}/2").json()
    assert hidden["detail"].endswith("It has 1, 3.")
    assert [v["was_published"] for v in client.get(address, headers=sender).json()["items"]] == [
        True,
        False,
        True,
    ]


def test_a_recomputed_run_gives_another_mark(
    client: Client, run: dict, recompute: Recompute
) -> None:
    addresses = [f"{V1}/runs/{run['id']}/{end}" for end in ("versions", "versions/1")]

    def statuses(etags: list[str]) -> list[int]:
        return [
            client.get(address, headers={"If-None-Match": etag}).status_code
            for address, etag in zip(addresses, etags, strict=True)
        ]

    first = [client.get(address).headers["etag"] for address in addresses]
    assert statuses(first) == [304, 304]
    recompute("brake-next", factor=1.3)
    assert statuses(first) == [200, 200]
    second = [client.get(address).headers["etag"] for address in addresses]
    recompute("brake-after-next", factor=1.4)
    # What is no longer the current one does not change any more.
    assert statuses(second) == [200, 304]


def test_a_run_without_figures_has_an_empty_list(settings: Settings) -> None:
    app = create_app(settings.model_copy(update={"inline_rows": 0}))
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    with TestClient(app) as client:
        client.headers["Authorization"] = f"Bearer {token}"
        sent = client.post(f"{V1}/runs", files=parts())
        assert sent.status_code == 202
        address = f"{V1}/runs/{sent.json()['id']}/versions"
        assert client.get(address).json() == {"items": [], "next": None}
        assert "It has no figures." in client.get(f"{address}/1").json()["detail"]
    app.state.resources.engine.dispose()
