"""The pages and the API of runs beside the brake run, from file to HTML."""

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.model.words import Channel
from tests.api.logs import BENCH
from tests.pages.reading import parsed, problems_of, text_of
from tests.pages.test_routes import fields_of, go_on, opened, signed_in, upload
from tests.reduction.simulate_kinds import run_down, run_up

R_MIN = 30 / np.pi
Send = Callable[[str, str, dict], str]


def table(header: str, *columns) -> str:
    rows = [",".join(f"{v:.6g}" for v in row) for row in zip(*columns, strict=True)]
    return "\n".join([header, *rows]) + "\n"


@pytest.fixture
def send(
    browser_without_scripts: TestClient, new_token: Callable[[], str]
) -> Callable[[str, str, dict], str]:
    """Send a log as a run of a kind; answers its id."""
    token = new_token()

    def sent(kind: str, log: str, more: dict) -> str:
        described = {**BENCH, "run": {"kind": kind}, "columns": {}, **more}
        described["appliance"] = {"maker": "Millbeck", "model": "WD-30", "category": "vacuum"}
        answer = browser_without_scripts.post(
            "/api/v1/runs",
            files={"file": ("log.csv", log), "bench": ("bench.json", json.dumps(described))},
            headers={"Authorization": f"Bearer {token}"},
        )
        assert answer.status_code == 201, answer.text
        assert answer.json()["state"] == "published"
        return str(answer.json()["id"])

    return sent


def run_down_log() -> str:
    made = run_down()
    speed, current = (made.channels[c] for c in (Channel.SPEED, Channel.CURRENT))
    return table("time [s],speed [rpm],current [A]", made.time_s, speed * R_MIN, current)


def run_up_log() -> str:
    made, _ = run_up(rate_hz=200)
    return table("time [s],speed [rpm]", made.time_s, made.channels[Channel.SPEED] * R_MIN)


def in_use_log(speed_rad_s: float) -> str:
    time = np.arange(0, 20, 0.2)
    flat = np.ones(time.size)
    return table(
        "time [s],speed [rad/s],voltage [V],power [W]",
        time,
        flat * speed_rad_s,
        flat * 120,
        flat * 500,
    )


HELD_LOG = "volts,amps,watts,torque (mN·m)\n120,31,2200,840\n119,30.8,2180,835\n"
KNOWN_INERTIA = {"rig": {"inertia": "1.2e-4 kg m^2"}, "instrument": []}
KINDS = {
    "run-down": (run_down_log, ("Drag torque at the highest speed", "Drag against speed")),
    "run-up": (run_up_log, ("Shaft, highest momentary", "Torque and power against speed")),
    "locked rotor": (lambda: HELD_LOG, ("zero by definition", "Current, rotor held")),
    "in use": (lambda: in_use_log(1500.0), ("Speed, in use", "Placed on the curve of")),
}


@pytest.mark.parametrize("kind", KINDS)
def test_the_page_of_a_run_shows_its_figures(
    send: Send, browser_without_scripts: TestClient, kind: str
) -> None:
    make, words = KINDS[kind]
    run_id = send(kind, make(), KNOWN_INERTIA)

    page = browser_without_scripts.get(f"/runs/{run_id}")

    assert page.status_code == 200
    for word in words:
        assert word in page.text
    assert "NaN" not in page.text
    for part in ("metrics", "points", "curves", "trace", "findings"):
        assert browser_without_scripts.get(f"/api/v1/runs/{run_id}/{part}").status_code == 200


def test_in_use_is_placed_on_the_newest_published_brake_run(
    send: Send, browser_without_scripts: TestClient
) -> None:
    listed = browser_without_scripts.get("/api/v1/runs?limit=50").json()["items"]
    brake = next(r for r in listed if r["appliance_name"] == "Millbeck WD-30")
    curves = browser_without_scripts.get(f"/api/v1/runs/{brake['id']}/curves").json()["items"]
    speeds = next(c for c in curves if c["quantity"] == "speed")["value"]
    powers = next(c for c in curves if c["quantity"] == "shaft_power")["value"]
    middle = len(speeds) // 2

    run_id = send("in use", in_use_log(speeds[middle]), {"instrument": []})

    results = browser_without_scripts.get(f"/api/v1/runs/{run_id}").json()["results"]
    assert results["operating_speed"]["value"] == pytest.approx(speeds[middle], rel=1e-4)
    assert results["shaft_power_in_use"]["value"] == pytest.approx(powers[middle], rel=1e-3)
    assert results["agreement_z"]["value"] is not None
    page = browser_without_scripts.get(f"/runs/{run_id}")
    assert f"/runs/{brake['id']}" in page.text


def test_only_brake_runs_stand_for_an_appliance(
    send: Send, browser_without_scripts: TestClient
) -> None:
    before = browser_without_scripts.get("/api/v1/appliances").json()["items"]
    send("locked rotor", HELD_LOG, KNOWN_INERTIA)
    send("run-up", run_up_log(), KNOWN_INERTIA)
    after = browser_without_scripts.get("/api/v1/appliances").json()["items"]

    def figures(items: list[dict]) -> dict:
        return {one["id"]: one["metrics"] for one in items}

    assert figures(after) == figures(before)


def test_readings_by_hand_are_a_brake_run(
    send: Send, browser_without_scripts: TestClient, tmp_path: Path, app: FastAPI
) -> None:
    speed = np.linspace(600, 2000, 9)
    torque = 0.4 * (1 - speed / 2100)
    log = table(
        "load step,amps,watts,torque (N·m),speed (rad/s)",
        range(9), 8 - speed / 400, 900 - speed / 3, torque, speed,
    )  # fmt: skip
    run_id = send("hand readings", log, {"instrument": []})

    run = browser_without_scripts.get(f"/api/v1/runs/{run_id}").json()

    assert run["kind"] == "brake"
    assert run["source"] == "by_hand"
    assert run["results"]["metrics"]["shaft_power_max_steady"]["value"] == pytest.approx(
        0.4 * 2100 / 4, rel=0.01
    )
    assert browser_without_scripts.get(f"/runs/{run_id}").status_code == 200


def test_a_table_typed_in_the_page_becomes_a_run_by_hand(
    browser_without_scripts: TestClient, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    speed = np.linspace(600, 2000, 9)
    log = table(
        "load step,amps,watts,torque (N·m),speed (rad/s)",
        range(9), 8 - speed / 400, 900 - speed / 3, 0.4 * (1 - speed / 2100), speed,
    )  # fmt: skip
    form = fields_of(opened(browser, "/send"), "/send")

    answer = browser.post(
        "/send",
        data={"csrf_token": form["csrf_token"]},
        files={"table": (None, log.replace("\n", "\r\n"))},
    )

    assert answer.url.path.endswith("/columns"), answer.text
    page = parsed(answer.text)
    chosen = page.select_one("select[name='run.kind'] option[selected]")
    assert chosen is not None
    assert chosen["value"] == "hand readings"
    start = str(answer.url.path).removesuffix("/columns")
    go_on(browser, f"{start}/columns")
    go_on(
        browser,
        f"{start}/appliance",
        appliance__maker="Osk",
        appliance__model="Saw 2",
        appliance__category="saw",
    )
    figures = go_on(browser, f"{start}/rig")
    run = browser.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
    assert run.status_code == 200
    text = text_of(parsed(run.text))
    assert "readings typed in.csv" in text
    assert "by hand" in text
    assert "210" in text  # 0.4 N m x 2100 rad/s / 4


def test_the_kind_is_chosen_beside_the_columns(
    browser_without_scripts: TestClient, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    columns = upload(browser, run_down_log())
    assert "no column is force or torque" in opened(browser, columns).get_text()

    page = go_on(browser, columns, act="stay", run__kind="run-down")
    go_on(browser, f"{columns.removesuffix('/columns')}/rig", rig__inertia="1.2e-4 kg m^2")

    assert "no column is force or torque" not in page.get_text()
    figures = opened(browser, f"{columns.removesuffix('/columns')}/figures")
    assert "Drag against speed" in figures.get_text()
    assert "Drag torque at the highest speed" in figures.get_text()


def test_an_empty_table_is_told(
    browser_without_scripts: TestClient, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    form = fields_of(opened(browser, "/send"), "/send")

    answer = browser.post(
        "/send", data={"csrf_token": form["csrf_token"]}, files={"table": (None, "  ")}
    )

    assert answer.status_code == 422
    assert "No file came along" in answer.text


@pytest.mark.parametrize("kind", KINDS)
def test_each_figure_of_a_run_has_its_page(
    send: Send, browser_without_scripts: TestClient, kind: str
) -> None:
    run_id = send(kind, KINDS[kind][0](), KNOWN_INERTIA)
    page = parsed(browser_without_scripts.get(f"/runs/{run_id}").text)
    hrefs = {str(a["href"]) for a in page.select("main a[href]")}
    figures = sorted(h for h in hrefs if h.startswith(f"/runs/{run_id}/figures/"))

    assert len(figures) >= 4
    for href in figures:
        answer = browser_without_scripts.get(href)
        assert answer.status_code == 200
        assert problems_of(answer.text) == []
        assert "not measured" not in text_of(parsed(answer.text), "h1")


def test_an_inertia_added_is_stored_with_the_run(
    send: Send, browser_without_scripts: TestClient
) -> None:
    one, other = run_down(length_s=12), run_down(inertia=2.2e-4, length_s=12)
    time = np.concatenate([one.time_s, other.time_s + 20])
    speed = np.concatenate([m.channels[Channel.SPEED] for m in (one, other)])
    current = np.concatenate([m.channels[Channel.CURRENT] for m in (one, other)])
    log = table("time [s],speed [rpm],current [A]", time, speed * R_MIN, current)
    run = {"kind": "run-down", "added_inertia": "1e-4 kg m^2"}

    run_id = send("run-down", log, {"rig": {}, "instrument": [], "run": run})

    stored = browser_without_scripts.get(f"/api/v1/runs/{run_id}").json()
    assert stored["added_inertia"] == pytest.approx(1e-4)
    assert stored["results"]["rotor_inertia"]["value"] == pytest.approx(1.2e-4, rel=0.01)
    assert stored["results"]["drag"]["coefficients"] is not None
