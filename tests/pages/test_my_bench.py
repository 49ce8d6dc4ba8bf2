"""My bench: what waits, what each run changed, who repeated it, what is due."""

import copy
from datetime import UTC, date, datetime

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import select, update

from server.actions.issue_token import issue_token
from server.actions.pool_appliance import pool_appliance
from server.actions.view_my_bench import calibrations
from server.app import create_app
from server.model.bench import Instrument, Rig
from server.model.my_bench import months_later
from server.model.people import ConcernKind, ConcernState
from server.model.views import Stored
from server.model.words import Channel, MetricName, RunState
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.identity import new_public_id
from server.store.journal import keep_text
from tests.api.logs import BENCH, parts, small_log
from tests.pages.reading import parsed, problems_of, text_of

BENCH_API = "/api/v1/testers/me/bench"
SHIFTS = (0.0, 0.03, 0.08)


@pytest.fixture
def app(sqlite_settings: Settings) -> FastAPI:
    return create_app(sqlite_settings)


@pytest.fixture
def client(app: FastAPI):
    with TestClient(app, follow_redirects=False) as client:
        yield client


def token_of(app: FastAPI, name: str) -> dict[str, str]:
    with write_session(app.state.resources.engine) as session:
        return {"Authorization": f"Bearer {issue_token(session, tester=name).token}"}


def send(client: TestClient, sender: dict[str, str], *, scale: float = 1.0, model: str = "WD-30"):
    bench = copy.deepcopy(BENCH) | {
        "instrument": [
            {"channel": "torque", "of_reading": "0.5 %", "name": "Cell 5",
             "calibrated": "2025-10-01"},
            {"channel": "speed", "of_reading": "0.1 %", "name": "Encoder"},
        ],
    }  # fmt: skip
    bench["appliance"]["model"] = model
    log = small_log(torques_nm=tuple(scale * 0.1 * i for i in range(9)))
    answer = client.post("/api/v1/runs", files=parts(log, bench), headers=sender)
    assert answer.status_code == 201, answer.text
    return answer.json()


@pytest.fixture
def ada(app: FastAPI) -> dict[str, str]:
    return token_of(app, "Ada Quill")


@pytest.fixture
def bo(app: FastAPI) -> dict[str, str]:
    return token_of(app, "Bo Marsh")


HERE = {"Sec-Fetch-Site": "same-origin"}


def signed_in(client: TestClient, sender: dict[str, str]) -> TestClient:
    """Signed in with the token, as a browser is."""
    token = sender["Authorization"].removeprefix("Bearer ")
    signed = client.post("/sign-in", data={"token": token, "next": "/"}, headers=HERE)
    assert signed.status_code == 303
    return client


def page_of(client: TestClient, sender: dict[str, str], address: str = "/my-bench"):
    answer = signed_in(client, sender).get(address)
    client.cookies.clear()
    return answer


def test_an_empty_bench_says_what_would_fill_it(client, ada) -> None:
    answer = page_of(client, ada)
    assert answer.status_code == 200
    assert problems_of(answer.text) == []
    text = text_of(parsed(answer.text))
    for words in (
        "No draft is open", "No run has been sent yet", "How much yours moved the figure",
        "Nobody else has a published run", "Nothing so far", "No rig yet",
        "No instrument is named yet", "benchledger record --watch",
    ):  # fmt: skip
        assert words in text
    told = client.get(BENCH_API, headers=ada).json()
    assert all(not value for value in told.values())


def test_a_stranger_is_asked_to_sign_in(client) -> None:
    assert client.get("/my-bench").status_code == 303
    assert client.get(BENCH_API).status_code == 401


def test_what_a_run_changed_is_the_pool_with_it_and_without(app, client, ada, bo) -> None:
    own = send(client, ada, scale=1.0)
    appliance = own["appliance"]["id"]
    alone = client.get(BENCH_API, headers=ada).json()["effects"][0]
    assert alone["run"] == own["id"]
    assert alone["without_run"] is None
    theirs = send(client, bo, scale=1.02)
    with read_session(app.state.resources.engine) as session:
        pooled = {m.metric: m for m in pool_appliance(session, public_id=appliance)}
    effect = client.get(BENCH_API, headers=ada).json()["effects"][0]
    steady = pooled[MetricName(effect["metric"])].pooling
    assert steady is not None
    assert effect["with_run"]["value"] == steady.pooled.value
    assert effect["with_run"]["n_testers"] == 2
    value = theirs["results"]["metrics"][effect["metric"]]["value"]
    assert effect["without_run"]["value"] == pytest.approx(value, rel=1e-9)
    assert effect["without_run"]["n_testers"] == 1
    text = text_of(parsed(page_of(client, ada).text))
    assert "without this run" in text
    assert f"{int(value)}." in text.partition("without this run")[2]


def test_a_run_that_is_not_pooled_says_why(client, ada) -> None:
    bench = copy.deepcopy(BENCH)
    log = small_log(torques_nm=(0.0, 0.1, 0.2, 0.3))  # its peak is not seen on both sides
    files = parts(log, bench)
    assert client.post("/api/v1/runs", files=files, headers=ada).status_code == 201
    effect = client.get(BENCH_API, headers=ada).json()["effects"][0]
    assert effect["with_run"] is None
    assert "at least" in effect["left_out"]
    text = text_of(parsed(page_of(client, ada).text), "section[aria-labelledby=changed]")
    assert "not pooled, only “at least” is known" in text


def test_who_repeated_it_are_other_testers_of_the_same_appliance(client, ada, bo) -> None:
    send(client, ada)
    send(client, ada, scale=1.01)
    send(client, bo, model="WD-99")
    assert client.get(BENCH_API, headers=ada).json()["repeats"] == []
    theirs = send(client, bo, scale=1.02)
    repeats = client.get(BENCH_API, headers=ada).json()["repeats"]
    assert [(r["run"], r["tester"]) for r in repeats] == [(theirs["id"], "Bo Marsh")]
    page = parsed(page_of(client, ada).text)
    assert page.select_one(f'section[aria-labelledby=repeated] a[href="/runs/{theirs["id"]}"]')


def test_remarks_stand_at_their_run_until_it_is_corrected(app, client, ada, bo) -> None:
    run = send(client, ada)
    engine = app.state.resources.engine
    with write_session(engine) as session:
        row = session.execute(select(t.RunRow)).scalar_one()
        text = keep_text(session, "The arm is 150 mm on the photograph.", by_id=None)
        remark = t.RemarkRow(
            public_id=new_public_id(), run_id=row.id, run_revision_id=row.current_revision_id,
            field="rig.arm", text_id=text.id, by_id=row.tester_id, created_at=datetime.now(UTC),
        )  # fmt: skip
        session.add(remark)
        session.execute(update(t.RunRow).values(state=RunState.RETURNED.value))
    told = client.get(BENCH_API, headers=ada).json()
    assert [(r["run"], r["field"]) for r in told["remarks"]] == [(run["id"], "rig.arm")]
    page = parsed(page_of(client, ada).text)
    text = text_of(page, "section[aria-labelledby=runs]")
    assert "Returned: one run" in text.replace("\u00a0", " ")
    assert "Rig: Effective arm: The arm is 150 mm on the photograph." in text
    assert told["effects"] == []
    assert client.get(BENCH_API, headers=bo).json()["remarks"] == []


def test_what_readers_asked_about_ones_runs_and_appliances(app, client, ada, bo) -> None:
    run = send(client, ada)
    other = send(client, bo, model="WD-99")
    engine = app.state.resources.engine
    with write_session(engine) as session:
        runs = {r.public_id: r for r in session.scalars(select(t.RunRow))}
        own, theirs = runs[run["id"]], runs[other["id"]]

        def add(kind: ConcernKind, words: str, **about: object) -> None:
            text = keep_text(session, words, by_id=None)
            state = about.pop("state", ConcernState.OPEN)
            session.add(
                t.ConcernRow(public_id=new_public_id(), kind=kind.value, text_id=text.id,
                             state=state, created_at=datetime.now(UTC), version=0, **about)
            )  # fmt: skip

        add(ConcernKind.PROBLEM, "The supply looks low.", run_id=own.id)
        add(ConcernKind.REQUEST, "Please test the 230 V one.", appliance_id=own.appliance_id)
        add(ConcernKind.PROBLEM, "Settled long ago.", run_id=own.id, state=ConcernState.SETTLED)
        add(ConcernKind.CONTEST, "Not for this list.", run_id=own.id)
        add(ConcernKind.PROBLEM, "About somebody else's.", run_id=theirs.id)
    asked = client.get(BENCH_API, headers=ada).json()["asked"]
    assert [one["text"] for one in asked] == [
        "Please test the 230 V one.", "The supply looks low.", "Settled long ago.",
    ]  # fmt: skip
    assert all(one["appliance"] == run["appliance"]["id"] for one in asked)
    text = text_of(parsed(page_of(client, ada).text), "section[aria-labelledby=asked]")
    assert "The supply looks low." in text
    assert "Not for this list" not in text


def test_what_is_due_first_stands_first_and_the_interval_can_be_set(client, ada) -> None:
    send(client, ada)
    told = client.get(BENCH_API, headers=ada).json()["calibrations"]
    assert [(c["instrument"], c["due"]) for c in told] == [
        ("Cell 5", "2026-10-01"), ("Encoder", None),
    ]  # fmt: skip
    longer = client.get(BENCH_API, params={"months": 24}, headers=ada).json()["calibrations"]
    assert longer[0]["due"] == "2027-10-01"
    assert client.get(BENCH_API, params={"months": 0}, headers=ada).status_code == 422


def test_the_interval_is_kept_with_its_tester(client, ada, bo) -> None:
    send(client, ada)
    send(client, bo)
    page = parsed(signed_in(client, ada).get("/my-bench").text)
    assert page.select_one("#months option[selected]")["value"] == "12"
    form = page.select_one("form[action='/my-bench/calibrations']")
    fields = {"csrf_token": form.select_one("[name=csrf_token]")["value"], "months": "24"}
    for wrong in ("0", "121", "never", ""):
        answer = client.post(form["action"], data=fields | {"months": wrong}, headers=HERE)
        assert answer.status_code == 422, wrong
    assert client.post(form["action"], data={"months": "6"}, headers=HERE).status_code == 403
    kept = client.post(form["action"], data=fields, headers=HERE)
    assert kept.headers["location"] == "/my-bench#calibrations"
    page = parsed(page_of(client, ada).text)  # in another sign-in
    due = text_of(page, "section[aria-labelledby=calibrations]").replace("\u00a0", " ")
    assert "1 Oct 2027" in due
    assert page.select_one("#months option[selected]")["value"] == "24"
    told = client.get(BENCH_API, headers=ada).json()["calibrations"]
    assert told[0]["due"] == "2027-10-01"
    other = parsed(page_of(client, bo).text)
    assert other.select_one("#months option[selected]")["value"] == "12"


def test_due_dates_keep_to_the_calendar_and_the_order() -> None:
    assert months_later(date(2024, 2, 29), 12) == date(2025, 2, 28)
    assert months_later(date(2026, 1, 31), 1) == date(2026, 2, 28)
    assert months_later(date(2026, 11, 15), 14) == date(2028, 1, 15)
    rig = Rig(
        name="Bench",
        instruments=(
            Instrument(Channel.SPEED),
            Instrument(Channel.TORQUE, calibrated=date(2026, 5, 1)),
            Instrument(Channel.POWER, calibrated=date(2025, 5, 1)),
        ),
    )
    found = calibrations([Stored("a" * 10, "bench", rig)], months=12)
    assert [c.channel for c in found] == [Channel.POWER, Channel.TORQUE, Channel.SPEED]


def test_tests_that_others_may_watch_are_listed_for_their_owner(client, ada, bo) -> None:
    opened = client.post("/api/v1/live", json={"title": "Third run"}, headers=ada).json()
    watched = client.get(BENCH_API, headers=ada).json()["watched"]
    assert [one["address"] for one in watched] == [opened["address"]]
    page = parsed(page_of(client, ada).text)
    assert page.select_one(f'a[href="{opened["page"]}"]').get_text() == "Third run"
    assert client.get(BENCH_API, headers=bo).json()["watched"] == []


def test_the_number_of_statements_does_not_grow(app, client, ada, bo, count_queries) -> None:
    counts = []
    for scale in (1.0, 1.01, 1.02):
        send(client, ada, scale=scale)
        send(client, ada, scale=scale, model=f"WD-{scale}")
        send(client, bo, scale=scale)
        with count_queries(app.state.resources.engine) as queries:
            assert client.get(BENCH_API, headers=ada).status_code == 200
        counts.append(len(queries))
    assert counts[0] == counts[-1]
    assert counts[0] <= 14
