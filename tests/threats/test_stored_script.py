"""Script in everything that people type or a file brings: on no page is it more than text.

A run is published whose every word is hostile, then every page that leads on from the front, the
sender's and the maintainer's is read: no element of theirs is in it, and the policy would let none
run.
"""

import csv
import io
import json
import re
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urljoin, urlsplit

import pytest
from bs4 import BeautifulSoup
from fastapi.testclient import TestClient

from server.actions import sign_in
from server.actions.issue_token import issue_token
from server.app import create_app
from server.charts.export import _FORMULA_STARTS
from server.settings import Settings
from server.sign_in import cookie_name
from server.store import people
from server.store.database import write_session
from tests.api.logs import BENCH, small_log
from tests.threats.test_headers import check_headers

TAG = "hostile-words"
HOSTILE = (
    f"'\"><{TAG} onload=alert(1)></{TAG}><script>alert(1)</script><img src=x onerror=alert(1)>"
)
FORMULA = "=HYPERLINK(1)"
MOST_PAGES = 400


def hostile_log() -> str:
    """A column more, whose header is hostile, after those that are read."""
    first, *rest = small_log().splitlines()
    header = HOSTILE.replace('"', '""')
    return "\n".join([f'{first},"{header}"', *(f"{line},1" for line in rest)]) + "\n"


def hostile_bench(word: str) -> dict[str, object]:
    return {
        **BENCH,
        "appliance": {
            "maker": f"Millbeck {word}",
            "model": f"WD-30 {word}",
            "category": "wet/dry vacuum",
            "model_number": word,
            "market": word,
            "produced": word,
        },
        "rig": {"name": f"Bench {word}", "arm": "100 mm", "rotor_inertia": "4e-5 kg m^2"},
        "specimen": {"label": f"piece {word}"},
        "claim": [
            {
                "quantity": "power",
                "value": "5 hp",
                "wording": f"5.0 Peak HP {word}",
                "where_printed": word,
                "footnote": word,
            }
        ],
        "run": {"tested_on": "2026-11-02", "notes": word, "supply_note": word},
    }


class Hostile:
    def __init__(self, settings: Settings, word: str) -> None:
        self.app = create_app(settings)
        self.client = TestClient(self.app, base_url="http://ledger.test", follow_redirects=False)
        with write_session(self.app.state.resources.engine) as session:
            issued = issue_token(
                session, tester=f"Ada {word}", scopes=("send", "maintain", "administer")
            )
            tester = people.tester_for_token(session, token=issued.token)
            assert tester is not None
            self.key = sign_in.start_session(
                session, tester_id=tester.id, hours=1, has_second_factor=True, agent=word
            )
        sender = {"Authorization": f"Bearer {issued.token}"}
        sent = self.client.post(
            "/api/v1/runs",
            files={
                "bench": (None, json.dumps(hostile_bench(word))),
                "file": (f"{word}.csv", hostile_log()),
            },
            headers=sender,
        )
        assert sent.status_code == 201, sent.text
        self.run = sent.json()
        self.cookie = {"Cookie": f"{cookie_name(settings)}={self.key}"}
        draft = self.client.post(
            "/send",
            files={"file": (f"{word}.csv", hostile_log())},
            data={"csrf_token": ""},
            headers={**self.cookie, "Sec-Fetch-Site": "same-origin"},
        )
        self.starts = ["/", "/my-runs", "/send", draft.headers.get("location", "/")]

    def pages(self, *, headers: dict[str, str]) -> Iterator[tuple[str, object]]:
        """Every answer that can be reached by links."""
        todo, seen = list(self.starts), set(self.starts)
        while todo and len(seen) < MOST_PAGES:
            path = todo.pop()
            answer = self.client.get(path, headers=headers)
            yield path, answer
            if "location" in answer.headers:
                found = {answer.headers["location"]}
            elif answer.headers.get("content-type", "").startswith("text/html"):
                soup = BeautifulSoup(answer.text, "html.parser")
                found = {str(tag["href"]) for tag in soup.select("a[href], link[href]")}
            else:
                found = set()
            for link in found:
                parts = urlsplit(urljoin(f"http://ledger.test{path}", link))
                target = parts.path + (f"?{parts.query}" if parts.query else "")
                if (
                    parts.netloc == "ledger.test"
                    and target not in seen
                    and "/static/" not in target
                ):
                    seen.add(target)
                    todo.append(target)


@pytest.mark.parametrize("who", ["a reader", "its sender, an administrator"])
def test_what_people_type_is_text_on_every_page(sqlite_settings: Settings, who: str) -> None:
    hostile = Hostile(sqlite_settings, HOSTILE)
    headers = {} if who == "a reader" else hostile.cookie
    n_shown = n_pages = 0
    for path, answer in hostile.pages(headers=headers):
        assert answer.status_code < 500, path  # type: ignore[attr-defined]
        assert check_headers(answer) == [], path
        if not answer.headers.get("content-type", "").startswith("text/html"):  # type: ignore[attr-defined]
            continue
        text: str = answer.text  # type: ignore[attr-defined]
        n_pages += 1
        n_shown += TAG in text
        soup = BeautifulSoup(text, "html.parser")
        assert soup.find(TAG) is None, path
        assert soup.find(attrs={"onload": True}) is None, path
        assert soup.find(attrs={"onerror": True}) is None, path
        for script in soup.find_all("script"):
            assert script.get("nonce") or script.get("type") == "application/json", path
            assert "alert(1)" not in script.text or script.get("type") == "application/json", path
        assert not re.search(r"<script>alert", text), path
    assert n_pages > 8
    assert n_shown >= 5, "the words were not shown at all"


def test_no_table_that_leaves_starts_a_formula(sqlite_settings: Settings) -> None:
    """Cells that begin = + - @, tab or return are text; numbers stay numbers."""
    for start in ("=1+1", "+1+1", "-2+3", "@SUM(A1)", "\t=1", "\r=1"):
        assert start.lstrip(" ").startswith(_FORMULA_STARTS)
    hostile = Hostile(sqlite_settings, FORMULA)
    run_id, appliance_id = hostile.run["id"], hostile.run["appliance"]["id"]
    tables = [
        "/api/v1/appliances?format=csv",
        "/api/v1/runs?format=csv",
        f"/api/v1/compare?appliance={appliance_id}&format=csv",
        *(
            f"/api/v1/runs/{run_id}/{part}?format=csv"
            for part in ("metrics", "points", "curves", "trace")
        ),
    ]
    n_cells = n_numbers = 0
    for address in tables:
        answer = hostile.client.get(address)
        if answer.status_code == 422:  # comparing needs two
            continue
        assert answer.status_code == 200, address
        assert answer.headers["content-type"].startswith("text/csv")
        for row in csv.reader(io.StringIO(answer.text)):
            for cell in row:
                n_cells += 1
                is_number = re.fullmatch(r"-?[\d.]+(e[+-]?\d+)?", cell) is not None
                n_numbers += is_number
                if not is_number:
                    assert not cell.startswith(("=", "+", "-", "@", "\t", "\r")), (address, cell)
    assert n_cells > 100
    assert n_numbers > 50


def test_the_log_itself_is_never_changed(sqlite_settings: Settings, tmp_path: Path) -> None:
    """A hostile header is kept byte for byte, as a download."""
    hostile = Hostile(sqlite_settings, HOSTILE)
    kept = hostile.client.get(f"/api/v1/runs/{hostile.run['id']}/file")
    assert kept.content == hostile_log().encode()
    assert kept.headers["content-disposition"].startswith("attachment")
