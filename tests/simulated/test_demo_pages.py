"""The loaded demonstration through its pages and its API, as a visitor meets it."""

import csv
import html
import io
import re
from collections.abc import Iterator
from typing import Any

import pytest
from fastapi.testclient import TestClient
from rich.console import Console

from seed_data.other_story import OTHERS
from seed_data.story import STORY
from server.app import create_app
from server.commands.demo import load
from server.settings import Settings
from server.wording.pooled import show_chance

POWER = "shaft_power_max_steady"


@pytest.fixture(scope="module")
def visitor(tmp_path_factory: pytest.TempPathFactory) -> Iterator[TestClient]:
    settings = Settings(data=tmp_path_factory.mktemp("demo") / "data")
    load(settings, Console(quiet=True))
    with TestClient(create_app(settings), base_url="http://ledger.test") as client:
        yield client


def text_of(client: TestClient, path: str) -> str:
    answer = client.get(path)
    assert answer.status_code == 200, path
    return re.sub(r"\s+", " ", html.unescape(re.sub(r"<[^>]+>", " ", answer.text)))


def appliances(client: TestClient, **query: str) -> dict[str, Any]:
    items = client.get("/api/v1/appliances", params={"limit": "200", **query}).json()["items"]
    return {item["model"]: item for item in items}


def runs(client: TestClient) -> list[dict[str, Any]]:
    found: list[dict[str, Any]] = client.get("/api/v1/runs", params={"limit": 200}).json()["items"]
    return found


def test_every_run_is_there_and_its_page_opens(visitor: TestClient) -> None:
    found = runs(visitor)
    unsound = sum(not told.is_sound for told in STORY)
    assert len(found) == len(STORY) + len(OTHERS) - unsound  # those that wait are not listed
    assert {run["kind"] for run in found} == {
        "brake", "run_down", "run_up", "in_use", "locked_rotor",
    }  # fmt: skip
    for run in found:
        assert "Benchledger" in text_of(visitor, f"/runs/{run['id']}")


def test_the_newest_runs_are_logged_brake_runs(visitor: TestClient) -> None:
    """What the front page and the catalogue's rows show: full sets of figures."""
    assert {run["kind"] for run in runs(visitor)[:12]} == {"brake"}
    assert len(appliances(visitor, category="lawn mower")) == 1
    (mower,) = appliances(visitor, category="lawn mower").values()
    newest = visitor.get(f"/api/v1/runs/{mower['run']}").json()
    assert newest["source"] == "logger"


def test_a_second_load_adds_nothing(visitor: TestClient) -> None:
    before = len(runs(visitor))
    settings = visitor.app.state.resources.settings  # type: ignore[attr-defined]
    load(settings, Console(quiet=True))
    assert len(runs(visitor)) == before


def test_the_claim_that_counts_the_rotors_energy_says_so(visitor: TestClient) -> None:
    (told,) = [told for told in STORY if told.style == "grab"]
    shown = [text_of(visitor, f"/runs/{run['id']}") for run in runs(visitor)]
    (grabbed,) = [text for text in shown if told.about in text]
    said = "only the brake’s reading while the rotor slows is shown to reach the printed figure"
    assert said in grabbed.replace("'", "’")
    assert "That reading counts energy that the rotor stored before." in grabbed


def test_testers_in_disagreement_are_flagged_and_others_not(visitor: TestClient) -> None:
    found = appliances(visitor)
    apart = text_of(visitor, f"/appliances/{found['Tarnwell 4']['id']}")
    agreed = text_of(visitor, f"/appliances/{found['Breezewright 450']['id']}")
    assert "standard uncertainties of the difference" in apart
    assert "standard uncertainties of the difference" not in agreed


def test_the_comparison_shows_intervals(visitor: TestClient) -> None:
    """Every measured figure of the table stands there with its 95 % interval."""
    found = appliances(visitor)
    pair = [found[model]["id"] for model in ("Snorrel 60", "Tarnwell 4")]
    page = visitor.get(f"/side-by-side?appliance={pair[0]}&appliance={pair[1]}").text
    rows = re.findall(r"<tr>(.*?)</tr>", page, re.DOTALL)
    labels = ("Shaft, highest steady", "Shaft, at rated current", "Efficiency, best")
    for label in labels:
        (row,) = [r for r in rows if re.search(rf"<th[^>]*>{label}</th>", r)]
        cells = re.findall(r"<td[^>]*>(.*?)</td>", row, re.DOTALL)
        assert len(cells) == 2
        assert all("±" in cell for cell in cells), (label, cells)


def test_the_api_says_how_sure_the_highest_is(visitor: TestClient) -> None:
    """The same chances as the page's, in JSON and in the row of the figure in CSV."""
    found = appliances(visitor)
    pair = [found[model]["id"] for model in ("Snorrel 60", "Tarnwell 4")]
    items = visitor.get("/api/v1/compare", params={"appliance": pair}).json()["items"]
    chances = [item["chance_of_highest"] for item in items]
    assert sum(chances) == pytest.approx(1.0)
    assert 0.8 < chances[1] < 0.999  # the Tarnwell's two pieces lie far apart
    shown = visitor.get(f"/side-by-side?appliance={pair[0]}&appliance={pair[1]}").text
    assert all(show_chance(chance) in shown for chance in chances)
    table = visitor.get("/api/v1/compare", params={"appliance": pair, "format": "csv"}).text
    rows = list(csv.DictReader(io.StringIO(table)))
    told = {r["id"]: r["chance_of_highest"] for r in rows if r["metric"] == POWER}
    assert {one: float(chance) for one, chance in told.items()} == dict(
        zip(pair, chances, strict=True)
    )
    assert all(r["chance_of_highest"] == "" for r in rows if r["metric"] != POWER)


@pytest.mark.parametrize("kind", ["brake", "run_down", "run_up"])
def test_load_points_lead_to_the_lines_of_the_file(visitor: TestClient, kind: str) -> None:
    """The time in the file's own line is the time of the point: read here with the csv module."""
    checked = 0
    for run in runs(visitor):
        if run["kind"] != kind or run["tester"] != "Tarlune repair workshop":
            continue
        text = visitor.get(f"/api/v1/runs/{run['id']}/file").content.decode()
        lines = [line for line in text.splitlines() if line.strip() and not line.startswith("#")]
        if not lines[0].startswith("Time (s)") and not lines[0].startswith("Time,"):
            continue
        lines = lines[2:] if lines[0].startswith("Time,") else lines[1:]  # a row of units
        if ":" in lines[0].split(",")[0]:
            continue  # a clock
        points = visitor.get(f"/api/v1/runs/{run['id']}/points").json()["items"]
        assert points
        for point in points:
            first, last = (float(lines[point[w]].split(",")[0]) for w in ("first_row", "last_row"))
            assert first == pytest.approx(point["start"], abs=0.12)
            assert last == pytest.approx(point["end"], abs=0.12)
            assert point["first_row"] < point["last_row"]
        checked += 1
    assert checked


def test_the_catalogue_says_how_sure_a_place_is(visitor: TestClient) -> None:
    vacuums = {"category": "wet/dry vacuum", "sort": "shaft_power_max_steady"}
    shown = visitor.get("/appliances", params=vacuums).text
    cells = re.findall(r'data-label="Chance of being the highest">([^<]*)<', shown)
    found = appliances(visitor, category="wet/dry vacuum")
    pair = [found[model]["id"] for model in ("Tarnwell 4", "Snorrel 60")]  # as they stand there
    items = visitor.get("/api/v1/compare", params={"appliance": pair}).json()["items"]
    for cell, item in zip(cells, items, strict=True):
        assert float(cell.split("\N{NO-BREAK SPACE}")[0]) == pytest.approx(
            100 * item["chance_of_highest"], abs=3
        )
