"""A run corrected by its tester: a revision with a reason, the old one readable, both compared."""

from collections.abc import Callable

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.move_run import move_run
from server.model.words import RunState
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.identity import new_public_id
from server.store.journal import SYSTEM, keep_text, now
from tests.api.logs import small_log
from tests.pages.desk_samples import signed as signed_at_the_desk
from tests.pages.reading import parsed, problems_of, text_of
from tests.pages.test_routes import fields_of, go_on, opened, signed_in, upload

Browser = TestClient


@pytest.fixture
def signed(browser_without_scripts: Browser, new_token: Callable[[], str]) -> Browser:
    return signed_in(browser_without_scripts, new_token())


def sent(signed: Browser, **rig: str) -> str:
    """The address of a run, published at once."""
    start = upload(signed, small_log()).removesuffix("/columns")
    go_on(signed, f"{start}/appliance", appliance__maker="Osk", appliance__model="Fix 1",
          plate__current="10.2 A", plate__voltage="120 V", plate__supply="AC")  # fmt: skip
    figures = go_on(signed, f"{start}/rig", rig__name="Own arm", run__notes="first", **rig)
    run = signed.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
    assert run.status_code == 200, run.text
    return str(run.url.path)


def begin(signed: Browser, run: str) -> str:
    fields = fields_of(opened(signed, run), f"{run}/correct")
    answer = signed.post(f"{run}/correct", data=fields)
    assert answer.status_code == 200, answer.text
    return str(answer.url.path).removesuffix("/columns")


def finish(signed: Browser, start: str, reason: str):  # type: ignore[no-untyped-def]
    figures = opened(signed, f"{start}/figures")
    fields = fields_of(figures, f"{start}/send") | {"reason": reason}
    return signed.post(f"{start}/send", data=fields)


def state_of(app: FastAPI, run: str) -> str:
    with read_session(app.state.resources.engine) as session:
        return str(
            session.execute(
                sa.select(t.RunRow.state).where(t.RunRow.public_id == run.rsplit("/", 1)[-1])
            ).scalar_one()
        )


def move(app: FastAPI, run: str, to: RunState) -> None:
    with write_session(app.state.resources.engine) as session:
        row = session.execute(
            sa.select(t.RunRow).where(t.RunRow.public_id == run.rsplit("/", 1)[-1])
        ).scalar_one()
        move_run(session, run=row, to=to, actor=SYSTEM)


def test_a_correction_holds_what_the_run_said(signed: Browser) -> None:
    run = sent(signed)
    start = begin(signed, run)
    assert begin(signed, run) == start  # gone on with, not begun twice
    appliance = fields_of(opened(signed, f"{start}/appliance"), f"{start}/appliance")
    assert appliance["appliance.maker"] == "Osk"
    assert appliance["plate.current"] == "10.2 A"
    rig = fields_of(opened(signed, f"{start}/rig"), f"{start}/rig")
    assert rig["run.notes"] == "first"
    assert rig["rig.name"] == "Bench one"


def test_a_correction_is_a_revision_beside_the_old_one(signed: Browser, app: FastAPI) -> None:
    run = sent(signed)
    start = begin(signed, run)
    go_on(signed, f"{start}/appliance", plate__current="9 A")
    go_on(signed, f"{start}/rig", run__notes="second")
    refused = finish(signed, start, " ")
    assert refused.status_code == 422
    assert "reason" in text_of(parsed(refused.text)).casefold()
    answer = finish(signed, start, "The plate says 9 A.")
    assert answer.status_code == 200, answer.text
    assert answer.url.path == run
    assert problems_of(answer.text) == []
    assert state_of(app, run) == "published"
    page = opened(signed, f"{run}/revisions/2")
    text = text_of(page)
    assert "The plate says 9 A" in text
    assert "what differs from revision 1" in text.casefold()
    rows = {
        th.get_text(): [td.get_text() for td in th.find_next_siblings("td")]
        for th in page.select("table.list tbody th")
    }
    assert rows["Notes"] == ["second", "first"]
    assert rows["Current"] == ["9 A", "10.2 A"]
    assert any(len(cells) == 3 and "rated current" in label for label, cells in rows.items())
    # Everybody may read both, and the figures of the first are those it gave.
    stranger = TestClient(app, base_url="http://ledger.test")
    old = parsed(stranger.get(f"{run}/revisions/1").text)
    assert "A later revision took its place" in text_of(old)
    api = f"/api/v1{run}/revisions"
    listed = stranger.get(api).json()["items"]
    assert [one["number"] for one in listed] == [2, 1]
    first = stranger.get(f"{api}/1").json()
    assert first["bench"]["run"]["notes"] == "first"
    assert first["metrics"]
    assert stranger.get(f"{api}/3").status_code == 404


def test_the_desk_and_the_revision_s_page_tell_the_same_apart(
    signed: Browser, app: FastAPI
) -> None:
    def apart(browser: Browser, path: str, where: str) -> dict[str, list[str]]:
        rows = opened(browser, path).select(f"{where} table.list tbody tr")
        return {row.th.get_text(): [td.get_text() for td in row.select("td")] for row in rows}

    run = sent(signed)
    maintainer = signed_at_the_desk(app, "Bo Finch", "send", "maintain")
    assert apart(maintainer, f"/desk{run}", "[aria-labelledby=revisions]") == {}
    start = begin(signed, run)
    go_on(signed, f"{start}/appliance", plate__current="9 A")
    go_on(signed, f"{start}/rig", run__notes="second")
    assert finish(signed, start, "The plate says 9 A.").status_code == 200
    desk = apart(maintainer, f"/desk{run}", "[aria-labelledby=revisions]")
    assert desk == {"Current": ["10.2 A", "9 A"], "Notes": ["first", "second"]}
    assert "The plate says 9 A." in text_of(opened(maintainer, f"/desk{run}"))
    page = apart(signed, f"{run}/revisions/2", "[aria-label='Fields that differ']")
    assert {label: cells[::-1] for label, cells in page.items()} == desk


def test_another_s_run_is_not_corrected(
    signed: Browser, app: FastAPI, new_token: Callable[..., str]
) -> None:
    run = sent(signed)
    page = TestClient(app, base_url="http://ledger.test").get(run)
    assert "Correct this run" not in page.text
    form = {"csrf_token": fields_of(opened(signed, "/send"), "/send")["csrf_token"]}
    other = next(str(a["href"]) for a in opened(signed, "/").select("a[href^='/runs/']"))
    with write_session(app.state.resources.engine) as session:
        stranger = t.TesterRow(public_id=new_public_id(), name="Bo", created_at=now())
        session.add(stranger)
        session.flush()
        session.execute(
            sa.update(t.RunRow).where(t.RunRow.public_id == other.rsplit("/", 1)[-1])
            .values(tester_id=stranger.id)
        )  # fmt: skip
    assert signed.post(f"{other}/correct", data=form).status_code == 404


def test_a_returned_run_shows_what_was_asked_and_waits_again(signed: Browser, app: FastAPI) -> None:
    run = sent(signed)
    move(app, run, RunState.WAITING)
    move(app, run, RunState.RETURNED)
    with write_session(app.state.resources.engine) as session:
        row = session.execute(
            sa.select(t.RunRow).where(t.RunRow.public_id == run.rsplit("/", 1)[-1])
        ).scalar_one()
        row.published_at = None  # it was never published before it was returned
        for field, told in (("plate.current", "The plate says 12 A."), ("file", "Whole log?")):
            text = keep_text(session, told, by_id=row.tester_id)
            session.add(
                t.RemarkRow(
                    public_id=new_public_id(), run_id=row.id, field=field, text_id=text.id,
                    run_revision_id=row.current_revision_id, by_id=row.tester_id,
                    created_at=now(),
                )
            )  # fmt: skip
    start = begin(signed, run)
    page = opened(signed, f"{start}/appliance")
    assert "The plate says 12 A." in page.find(id="plate.current-problem").get_text()
    assert "Whole log?" in text_of(page)
    go_on(signed, f"{start}/appliance", plate__current="12 A")
    answer = finish(signed, start, "Read the plate again.")
    assert answer.status_code == 200, answer.text
    assert state_of(app, run) == "waiting"


def test_while_a_correction_waits_readers_are_led_to_what_was_published(
    signed: Browser, app: FastAPI
) -> None:
    run = sent(signed)
    start = begin(signed, run)
    # A speed in the wrong unit holds the run back.
    go_on(signed, f"{start}/columns", column__2__channel="torque", column__2__unit="kN m")
    finish(signed, start, "The torque is in kN m.")
    stranger = TestClient(app, base_url="http://ledger.test", follow_redirects=False)
    if state_of(app, run) == "published":
        move(app, run, RunState.WAITING)
        expected = 2
    else:
        expected = 1
    led = stranger.get(run)
    assert led.status_code == 303
    assert led.headers["location"] == f"{run}/revisions/{expected}"
    assert stranger.get(f"{run}/revisions/1").status_code == 200
    fields = fields_of(opened(signed, run), f"{run}/withdraw") | {"note": "all wrong"}
    signed.post(f"{run}/withdraw", data=fields)
    assert stranger.get(f"{run}/revisions/1").status_code == 404
    assert stranger.get(run).status_code == 404


def test_not_before_a_date(signed: Browser, app: FastAPI) -> None:
    start = upload(signed, small_log()).removesuffix("/columns")
    go_on(signed, f"{start}/appliance", appliance__maker="Osk", appliance__model="Later")
    figures = go_on(signed, f"{start}/rig", rig__name="Own arm")
    fields = fields_of(figures, f"{start}/send")
    wrong = signed.post(f"{start}/send", data=fields | {"not_before": "2099-01-01"})
    assert wrong.status_code == 422
    day = (now().date()).replace(day=28).isoformat()
    fields = fields_of(opened(signed, f"{start}/figures"), f"{start}/send")
    run = signed.post(f"{start}/send", data=fields | {"not_before": day})
    assert run.status_code == 200
    with read_session(app.state.resources.engine) as session:
        row = session.execute(
            sa.select(t.RunRow).where(t.RunRow.public_id == str(run.url.path).rsplit("/", 1)[-1])
        ).scalar_one()
        assert row.not_before is not None
        assert row.state == ("waiting" if row.not_before > now().date() else "published")
