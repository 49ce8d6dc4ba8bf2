"""One figure followed down: its budget, the readings, the lines and bytes of the file."""

import hashlib
import json
import re
from collections.abc import Callable
from pathlib import Path

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from server.model.words import MetricName
from server.store.file_rows import FileLines, locate_rows, read_lines
from tests.api.logs import BENCH
from tests.pages.reading import parsed, problems_of, text_of
from tests.pages.test_run_kinds import KINDS, KNOWN_INERTIA

HIGHEST = MetricName.SHAFT_POWER_MAX_STEADY.value
MADE_UP = {"first_row": 3, "encoding": "utf-8", "line_end": "LF"}


@pytest.fixture
def run_id(browser_without_scripts: TestClient) -> str:
    runs = browser_without_scripts.get("/api/v1/runs").json()["items"]
    return str(runs[0]["id"])


def figure_of(browser: TestClient, run_id: str, name: str = HIGHEST) -> BeautifulSoup:
    answer = browser.get(f"/runs/{run_id}/figures/{name}")
    assert answer.status_code == 200
    assert problems_of(answer.text) == []
    return parsed(answer.text)


def lines_of(soup: BeautifulSoup) -> list[tuple[str, str, str]]:
    """When, address of the lines, and bytes of every stretch."""
    rows = soup.select("table.list tbody tr")
    return [
        (
            row.select_one("th").get_text(),
            str(row.select_one("a[href]")["href"]),
            row.select("td")[-1].get_text().replace("\u202f", ""),
        )
        for row in rows
    ]


def test_it_says_value_interval_budget_and_method(
    browser_without_scripts: TestClient, run_id: str
) -> None:
    soup = figure_of(browser_without_scripts, run_id)
    text = text_of(soup).replace("\u00a0", " ")
    assert re.search(r"± \d+(\.\d+)? W", text)
    assert "95 % interval:" in text
    assert "JCGM 10" in text
    assert "What to improve first:" in text
    assert "brake-" in text
    assert "torque: % of reading" in text
    shares = [row.select("td")[-1].get_text() for row in soup.select("#budget table tbody tr")]
    assert len(shares) > 1


def test_the_lines_of_a_stretch_are_those_of_its_time(
    browser_without_scripts: TestClient, run_id: str
) -> None:
    browser = browser_without_scripts
    whole = browser.get(f"/api/v1/runs/{run_id}/file").content
    stretches = lines_of(figure_of(browser, run_id))
    assert len(stretches) >= 3
    for when, href, places in stretches:
        shown = browser.get(href)
        assert shown.status_code == 200
        assert shown.headers["content-type"].startswith("text/plain")
        assert shown.headers["x-content-type-options"] == "nosniff"
        first, last = (int(number) for number in places.split(" to "))
        assert shown.content == whole[first : last + 1]
        lines = shown.text.splitlines()
        start, end = (float(part) for part in re.findall(r"[\d.]+", when))
        assert float(lines[0].split(",")[0]) == pytest.approx(start, abs=0.006)
        assert float(lines[-1].split(",")[0]) == pytest.approx(end, abs=0.006)


def test_the_digest_shown_is_that_of_the_file(
    browser_without_scripts: TestClient, run_id: str
) -> None:
    soup = figure_of(browser_without_scripts, run_id)
    href = soup.select_one('#file ~ * a[href$="/file"], a[href$="/file"]')["href"]
    digest = hashlib.sha256(browser_without_scripts.get(str(href)).content).hexdigest()
    assert digest in text_of(soup)


def test_every_figure_of_run_and_appliance_leads_to_its_page(
    browser_without_scripts: TestClient, run_id: str
) -> None:
    browser = browser_without_scripts
    run = parsed(browser.get(f"/runs/{run_id}").text)
    metrics = browser.get(f"/api/v1/runs/{run_id}/metrics").json()["items"]
    linked = {str(a["href"]) for a in run.select("dl.values a[href], dl.heads a[href]")}
    for metric in metrics:
        path = f"/runs/{run_id}/figures/{metric['name']}"
        assert (path in linked) is (metric["value"] is not None)
        figure_of(browser, run_id, metric["name"])
    appliance = parsed(browser.get(str(run.select_one(".crumb a")["href"])).text)
    heads = [str(a["href"]) for a in appliance.select("dl.heads a[href]")]
    assert f"/runs/{run_id}/figures/{HIGHEST}" in heads


def test_a_figure_that_can_not_be_had_says_why(
    browser_without_scripts: TestClient, run_id: str
) -> None:
    metrics = browser_without_scripts.get(f"/api/v1/runs/{run_id}/metrics").json()["items"]
    missing = next(m for m in metrics if m["value"] is None)
    text = text_of(figure_of(browser_without_scripts, run_id, missing["name"]))
    assert f"This run does not show it: {missing['reason'].rstrip('.')}." in text


@pytest.mark.parametrize(
    ("path", "status"),
    [
        ("figures/no_such_figure", 404),
        ("file?rows=1-999999", 404),
        ("file?rows=5-2", 404),
        ("file?rows=0-2", 404),
        ("file?rows=a-b", 422),
    ],
)
def test_what_is_not_there_is_refused(
    browser_without_scripts: TestClient, run_id: str, path: str, status: int
) -> None:
    assert browser_without_scripts.get(f"/runs/{run_id}/{path}").status_code == status


def test_claims_have_their_verdicts_in_words(
    browser_without_scripts: TestClient, run_id: str
) -> None:
    run = parsed(browser_without_scripts.get(f"/runs/{run_id}").text)
    text = text_of(run).replace("\u00a0", " ")
    assert "Does the true figure reach 5 hp?" in text
    assert "not supported" in text
    assert "5 % or less" in text


def made_up(folder: Path, content: bytes) -> Path:
    path = folder / "log"
    path.write_bytes(content)
    return path


def test_rows_are_found_behind_preamble_and_blank_lines(tmp_path: Path) -> None:
    path = made_up(tmp_path, b"log\nt,x\n1,1\n\n2,2\n,\n3,3\n")
    found = locate_rows(path, dialect=MADE_UP, n_rows=3, spans=[(0, 1), (2, 2)])
    assert found == (FileLines(3, 5, 8, 17), FileLines(7, 7, 19, 23))
    assert path.read_bytes()[8:17] == b"1,1\n\n2,2\n"
    lines = read_lines(path, dialect=MADE_UP, first_line=3, last_line=5, limit=100)
    assert lines == b"1,1\n\n2,2\n"


def test_a_cut_last_line_is_no_row_and_left_out_rows_are_noticed(tmp_path: Path) -> None:
    path = made_up(tmp_path, b"log\nt,x\n1,1\n2,2\n3,")
    assert locate_rows(path, dialect=MADE_UP, n_rows=2, spans=[(1, 1)]) is not None
    assert locate_rows(path, dialect=MADE_UP, n_rows=1, spans=[(0, 0)]) is None
    assert locate_rows(path, dialect=MADE_UP, n_rows=3, spans=[(0, 7)]) is None


@pytest.mark.parametrize(
    ("encoding", "line_end", "mark"),
    [("utf-16-le", "CRLF", b"\xff\xfe"), ("utf-8", "CR", b""), ("utf-8", "mixed", b"")],
)
def test_other_encodings_and_line_ends_keep_their_bytes(
    tmp_path: Path, encoding: str, line_end: str, mark: bytes
) -> None:
    end = {"CR": "\r", "CRLF": "\r\n", "mixed": "\r"}[line_end]
    lines = [text.encode(encoding) for text in (f"größe{end}", f"t,x{end}", f"1,1{end}", "2,2\n")]
    path = made_up(tmp_path, mark + b"".join(lines))
    dialect = {"first_row": 3, "encoding": encoding, "line_end": line_end}
    (found,) = locate_rows(path, dialect=dialect, n_rows=2, spans=[(1, 1)]) or ()
    assert path.read_bytes()[found.first_byte : found.end_byte] == lines[3]
    assert read_lines(path, dialect=dialect, first_line=4, last_line=4, limit=99) == lines[3]


def test_too_much_at_once_is_not_read(tmp_path: Path) -> None:
    path = made_up(tmp_path, b"log\nt,x\n1,1\n2,2\n")
    assert read_lines(path, dialect=MADE_UP, first_line=1, last_line=4, limit=10) is None
    assert (
        read_lines(path, dialect={"first_row": None}, first_line=9, last_line=9, limit=10) is None
    )
    assert locate_rows(path, dialect={}, n_rows=2, spans=[(0, 0)]) is None


HAND_LOG = """load step,voltage [V],current [A],power [W],torque [N m],speed [rpm]
1,120,2.1,210,0.00,20500
2,120,3.3,370,0.08,19000
3,120,4.5,510,0.15,17600
4,120,5.9,670,0.23,16100
5,120,7.2,815,0.31,14700
6,120,8.6,960,0.40,13200
7,119,10.1,1110,0.50,11700
8,119,11.7,1260,0.61,10100
9,119,13.4,1400,0.73,8500
"""
LOGS = {"hand readings": lambda: HAND_LOG} | {kind: make for kind, (make, _) in KINDS.items()}


@pytest.mark.parametrize("kind", LOGS)
def test_figures_of_every_kind_of_run_are_followed(
    browser_without_scripts: TestClient, new_token: Callable[[], str], kind: str
) -> None:
    browser = browser_without_scripts
    described = BENCH | {"run": {"kind": kind}} | KNOWN_INERTIA
    sent = browser.post(
        "/api/v1/runs",
        files={"file": ("log.csv", LOGS[kind]()), "bench": ("bench.json", json.dumps(described))},
        headers={"Authorization": f"Bearer {new_token()}"},
    )
    assert sent.status_code == 201, sent.text
    run_id = sent.json()["id"]
    whole = browser.get(f"/api/v1/runs/{run_id}/file").content
    run = parsed(browser.get(f"/runs/{run_id}").text)
    pages = [str(a["href"]) for a in run.select("dl.values a[href*='/figures/']")]
    assert pages
    for path in pages:
        stretches = lines_of(figure_of(browser, run_id, path.rsplit("/", 1)[-1]))
        assert stretches
        for _, href, places in stretches:
            first, last = (int(number) for number in places.split(" to "))
            assert browser.get(href).content == whole[first : last + 1]
