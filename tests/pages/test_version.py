"""An earlier version of a run's figures: its page, and the way there from the run's page."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine, select, update

from server.model.measured import Metric
from server.model.methods import METHOD_VERSIONS
from server.model.words import MetricName, RunKind
from server.store import tables as t
from server.store.database import write_session
from server.wording.labels import metric_label
from tests.pages import rendering, samples
from tests.pages.reading import parsed, problems_of, text_of
from tests.pages.test_routes import opened

POWER = MetricName.SHAFT_POWER_MAX_STEADY
FREE = metric_label(MetricName.FREE_SPEED)
HIGHEST = metric_label(POWER)
U_W = 10.0


@pytest.fixture
def run_id(browser_without_scripts: TestClient) -> str:
    runs = browser_without_scripts.get("/api/v1/runs").json()["items"]
    return str(runs[0]["id"])


@pytest.fixture
def recomputed(app: FastAPI, run_id: str) -> str:
    """The run with figures doctored as an older method's, then recomputed by today's."""
    from server.actions.recompute_runs import recompute_runs

    engine: Engine = app.state.resources.engine
    with write_session(engine) as session:
        run = session.execute(select(t.RunRow).where(t.RunRow.public_id == run_id)).scalar_one()
        set_id = run.current_set_id
        session.execute(
            update(t.MetricSetRow).where(t.MetricSetRow.id == set_id).values(method_version="old-1")
        )
        of_set = t.MetricRow.metric_set_id == set_id
        session.execute(
            update(t.MetricRow)
            .where(of_set, t.MetricRow.name == POWER)
            .values(value=t.MetricRow.value - 3 * U_W, standard_uncertainty=U_W)
        )
        session.execute(
            update(t.MetricRow)
            .where(of_set, t.MetricRow.name == MetricName.FREE_SPEED)
            .values(value=None, standard_uncertainty=None, reason="it never turned freely")
        )
    list(recompute_runs(engine, files=app.state.settings.files, public_ids=[run_id]))
    return run_id


def test_the_run_says_its_method_and_leads_to_its_earlier_figures(
    browser_without_scripts: TestClient, recomputed: str
) -> None:
    page = opened(browser_without_scripts, f"/runs/{recomputed}")
    text = text_of(page).replace("\u00a0", " ")
    assert f"Method {METHOD_VERSIONS[RunKind.BRAKE]}." in text
    assert "Earlier figures" in text
    (link,) = page.select(f'a[href="/runs/{recomputed}/versions/1"]')
    assert link.get_text().startswith("Version 1: old-1")
    opened(browser_without_scripts, str(link["href"]))


def test_a_run_with_one_version_says_nothing_of_earlier_ones(
    browser_without_scripts: TestClient, run_id: str
) -> None:
    page = opened(browser_without_scripts, f"/runs/{run_id}")
    assert "Earlier figures" not in text_of(page)
    assert "Method brake-" in text_of(page)


def test_an_earlier_version_stands_beside_todays_figures(
    browser_without_scripts: TestClient, recomputed: str
) -> None:
    page = opened(browser_without_scripts, f"/runs/{recomputed}/versions/1")
    told = text_of(page, "main .told")
    assert "Newer figures of this run exist" in told
    assert page.select_one(f'main .told a[href="/runs/{recomputed}"]') is not None
    rows = {
        row.th.get_text(): [cell.get_text() for cell in row.select("td")]
        for row in page.select("table.list tbody tr")
    }
    then, now, moved = rows[HIGHEST]
    assert then.endswith("W")
    assert now.endswith("W")
    assert then != now
    assert moved == "+3.0"
    then, now, moved = rows[FREE]
    assert (then, moved) == ("it never turned freely", "newly had")
    assert now.endswith("r/min")
    others = [cells[2] for label, cells in rows.items() if label.startswith("Current")]
    assert set(others) == {"0"}
    assert page.select_one('main a[href="/methods/method-versions"]') is not None
    text = text_of(page)
    assert "old-1" in text
    assert METHOD_VERSIONS[RunKind.BRAKE] in text


def test_it_is_kept_out_of_searches_and_names_the_run_as_its_place(
    browser_without_scripts: TestClient, recomputed: str
) -> None:
    html = browser_without_scripts.get(f"/runs/{recomputed}/versions/1").text
    page = parsed(html)
    assert page.select_one("meta[name=robots]")["content"] == "noindex"
    assert page.select_one("link[rel=canonical]")["href"].endswith(f"/runs/{recomputed}")
    twin = page.select_one('link[rel=alternate][type="application/json"]')["href"]
    assert twin == f"/api/v1/runs/{recomputed}/versions/1"
    assert browser_without_scripts.get(str(twin)).json()["method_version"] == "old-1"


def test_todays_version_says_that_it_is(
    browser_without_scripts: TestClient, recomputed: str
) -> None:
    page = opened(browser_without_scripts, f"/runs/{recomputed}/versions/2")
    assert "the figures that the run shows today" in text_of(page, "main .told")
    moved = [row.select("td")[2].get_text() for row in page.select("table.list tbody tr")]
    assert set(moved) == {"0"}
    assert page.select_one(f'a[href="/runs/{recomputed}/versions/1"]') is not None


@pytest.mark.parametrize("number", ["3", "0", "x"])
def test_a_version_that_is_not_there_is_a_true_404(
    browser_without_scripts: TestClient, recomputed: str, number: str
) -> None:
    address = f"/runs/{recomputed}/versions/{number}"
    answer = browser_without_scripts.get(address, headers={"Accept": "text/html"})
    assert answer.status_code == 404
    assert problems_of(answer.text) == []
    assert "There is no version" in text_of(parsed(answer.text))


def test_what_rests_on_a_brake_run_is_placed_on_todays_for_both(
    browser_without_scripts: TestClient, app: FastAPI, new_token: Callable[[], str]
) -> None:
    """A run in use keeps no shaft power of its own: both versions read it off the same curve."""
    import json

    from tests.api.logs import BENCH
    from tests.pages.test_run_kinds import in_use_log

    described = {**BENCH, "run": {"kind": "in use"}, "columns": {}, "instrument": []}
    described["appliance"] = {"maker": "Millbeck", "model": "WD-30", "category": "vacuum"}
    sent = browser_without_scripts.post(
        "/api/v1/runs",
        files={
            "file": ("log.csv", in_use_log(1500.0)),
            "bench": ("bench.json", json.dumps(described)),
        },
        headers={"Authorization": f"Bearer {new_token()}"},
    )
    run_id = sent.json()["id"]
    address = f"/api/v1/runs/{run_id}"
    metrics = browser_without_scripts.get(f"{address}/metrics").json()["items"]
    shaft = next(one for one in metrics if one["name"] == "shaft_power_in_use")
    assert shaft["value"] is not None
    assert browser_without_scripts.get(f"{address}/versions/1").json()["metrics"] == metrics
    opened(browser_without_scripts, f"/runs/{run_id}/versions/1")


def test_what_people_type_stays_text() -> None:
    html = rendering.version(samples.HOSTILE)
    assert problems_of(html) == []
    assert parsed(html, has_scripts=True).find("b") is None
    assert '<script>alert("1")</script>' in text_of(parsed(html))


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (lambda m: replace(m, value=m.value - 20.0), "+2.0"),
        (lambda m: replace(m, value=m.value + 0.02), "under 0.01"),
        (lambda m: replace(m, standard_uncertainty=None), "0"),
        (lambda m: replace(m, value=None, reason="not loaded"), "newly had"),
    ],
)
def test_how_far_a_figure_moved(change: Callable[[Metric], Metric], told: str) -> None:
    """838 W with u = 10 W today."""
    page = parsed(rendering.version(change=change))
    moved = {row.th.get_text(): row.select("td")[2].get_text() for row in page.select("tbody tr")}
    assert moved[HIGHEST] == told
    assert moved[FREE] == "0"
