"""Runs that wait, and browsers of people who are signed in, for the tests of the desk."""

import json
from collections.abc import Callable
from pathlib import Path

from bs4 import BeautifulSoup
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.issue_token import issue_token
from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.submit_run import submit_run
from server.intake import bench_from_mapping
from server.model.publishing import PublishingRule
from server.settings import Settings
from server.store.database import write_session
from server.store.files import keep_upload_from
from server.store.people import tester_for_token
from tests.api.logs import BENCH, small_log
from tests.pages.reading import parsed, problems_of

WAITS = PublishingRule(standing_runs=1000, first_run_waits=True)
SignIn = Callable[..., TestClient]


def send_waiting(
    app: FastAPI,
    *,
    model: str = "WD-30",
    maker: str = "Millbeck",
    by: str = "Ola Brandt",
    scale: float = 1.0,
    torque_unit: str = "N m",
) -> str:
    """A run that waits for a maintainer; gives its id."""
    settings: Settings = app.state.settings
    log = Path(settings.data) / f"sent-{scale}-{model}.csv"
    text = small_log(torques_nm=tuple(scale * 0.1 * i for i in range(9)))
    log.write_text(text.replace("torque [N m]", f"torque [{torque_unit}]"))
    described = BENCH | {
        "appliance": {"maker": maker, "model": model, "category": "wet/dry vacuum"},
        "instrument": [
            {"channel": channel, "of_reading": "0.5 %"}
            for channel in ("torque", "speed", "current", "voltage", "power")
        ],
    }
    bench = bench_from_mapping(json.loads(json.dumps(described)))
    upload = keep_upload_from(settings.files, log, name=log.name)
    prepared = prepare_run(
        upload.path,
        file_name=upload.name,
        bench=bench,
        limits=limits_of(settings),
    )
    with write_session(app.state.resources.engine) as session:
        tester = tester_for_token(session, token=issue_token(session, tester=by).token)
        assert tester is not None
        sent = submit_run(
            session, prepared=prepared, upload=upload, bench=bench, tester=tester, rule=WAITS
        )
    return sent.public_id


def signed(app: FastAPI, name: str, *scopes: str) -> TestClient:
    """A browser without scripts of somebody signed in; a client of its own."""
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester=name, scopes=scopes or ("send",)).token
    browser = TestClient(app, base_url="http://ledger.test")
    answer = browser.post("/sign-in", data={"token": token, "next": "/"})
    assert answer.status_code == 200
    return browser


def opened(browser: TestClient, path: str, *, status: int = 200) -> BeautifulSoup:
    answer = browser.get(path)
    assert answer.status_code == status, (path, answer.status_code)
    assert problems_of(answer.text) == [], path
    return parsed(answer.text)


def fields_of(soup: BeautifulSoup, action: str) -> dict[str, str]:
    """What a browser would post from a form as it stands."""
    form = soup.select_one(f'form[action="{action}"]')
    assert form is not None, action
    fields = {}
    for control in form.select("input[name], textarea[name]"):
        is_box = control.get("type") in {"radio", "checkbox"}
        if not is_box or control.has_attr("checked"):
            fields[str(control["name"])] = str(control.get("value") or control.get_text())
    for select in form.select("select[name]"):
        chosen = select.select_one("option[selected]") or select.option
        assert chosen is not None
        fields[str(select["name"])] = str(chosen["value"])
    return fields
