"""Reports, notices, requests, answers, merges and plates through the parser, without scripts."""

import shutil
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.pages.desk_samples import fields_of, opened, send_waiting, signed
from tests.pages.reading import parsed, problems_of, text_of


@pytest.fixture
def reader(app: FastAPI) -> TestClient:
    return TestClient(app, base_url="http://ledger.test")


@pytest.fixture
def maintainer(app: FastAPI) -> TestClient:
    return signed(app, "Bo Finch", "send", "maintain")


def a_run(reader: TestClient) -> str:
    return str(opened(reader, "/").select_one("a[href^='/runs/']")["href"])


def test_a_reader_reports_a_figure_and_sees_what_comes_of_it(
    reader: TestClient, maintainer: TestClient
) -> None:
    run = a_run(reader)
    figure = opened(reader, f"{run}/figures/efficiency_max")
    link = figure.select_one('a[href^="/report?"]')
    assert link is not None
    assert link.get_text() == "Something wrong with this figure?"
    form = fields_of(opened(reader, str(link["href"])), "/report")
    short = reader.post("/report", data=form | {"text": "no"})
    assert short.status_code == 422
    assert problems_of(short.text) == []
    sent = reader.post("/report", data=form | {"text": "Over one hundred per cent?"})
    assert sent.url.path.startswith("/reports/")
    assert "Open: a maintainer will look at it" in text_of(parsed(sent.text))
    queue = opened(maintainer, "/desk")
    assert "A reader reports a problem" in text_of(queue, ".queue")
    case = str(queue.select_one("[data-case]")["href"])
    page = opened(maintainer, case)
    assert "Over one hundred per cent?" in text_of(page)
    assert "Efficiency, best" in text_of(page)
    told = fields_of(page, f"{case}/settle") | {"outcome": "stands", "answer": "It is 0.8."}
    assert maintainer.post(f"{case}/settle", data=told).status_code == 200
    assert "It is 0.8." in text_of(opened(reader, sent.url.path))
    changed = text_of(opened(reader, run), "[aria-labelledby=what-changed]")
    assert "A problem was reported, by a reader" in changed
    assert "settled (it stays as it was), by a maintainer: It is 0.8." in changed
    assert "Over one hundred" not in changed
    again = maintainer.post(f"{case}/settle", data=told)
    assert again.status_code == 409
    assert "settled, by Bo Finch" in text_of(parsed(again.text))


def test_another_site_can_not_report(reader: TestClient) -> None:
    form = fields_of(opened(reader, f"/report?run={a_run(reader)[6:]}"), "/report")
    form |= {"text": "Sent by another site."}
    for headers in ({"Sec-Fetch-Site": "cross-site"}, {"Origin": "http://other.test"}):
        assert reader.post("/report", data=form, headers=headers).status_code == 403


def test_reports_are_limited(filled: Path, tmp_path: Path) -> None:
    data = tmp_path / "limited"
    shutil.copytree(filled, data)
    settings = Settings(data=data, limit_report_by_address="10/hour")
    reader = TestClient(create_app(settings), base_url="http://ledger.test")
    form = fields_of(opened(reader, f"/report?run={a_run(reader)[6:]}"), "/report")
    form |= {"text": "The same once more."}
    statuses = [reader.post("/report", data=form).status_code for _ in range(12)]
    assert statuses == [200] * 10 + [429] * 2


def test_a_notice_says_what_it_must_contain(reader: TestClient) -> None:
    page = opened(reader, "/notice")
    assert "Regulation (EU) 2022/2065" in text_of(page)
    form = fields_of(page, "/notice") | {
        "address": f"http://ledger.test{a_run(reader)}?x=1", "text": "My name stands in it.",
        "name": "Ed Vane", "contact": "ed@example.org", "good_faith": "yes",
    }  # fmt: skip
    lacking = reader.post("/notice", data=form | {"address": "http://ledger.test/safety"})
    assert lacking.status_code == 422
    assert "My name stands in it." in lacking.text
    sent = reader.post("/notice", data=form)
    assert sent.url.path.startswith("/reports/")
    assert "ed@example.org" not in sent.text


def test_a_wish_stands_on_the_appliance_page(reader: TestClient) -> None:
    path = str(opened(reader, "/appliances").select_one("tbody th a")["href"])
    link = opened(reader, path).select_one('a[href^="/request?"]')
    form = fields_of(opened(reader, str(link["href"])), "/request") | {"wish": "air or water"}
    assert reader.post("/request", data=form).status_code == 200
    assert "air or water (one\xa0reader)" in text_of(opened(reader, path))


def test_a_tester_contests_a_return(app: FastAPI, maintainer: TestClient) -> None:
    run = send_waiting(app)
    case = f"/desk/runs/{run}"
    form = fields_of(opened(maintainer, case), f"{case}/return") | {"reason": "Looks slipped."}
    maintainer.post(f"{case}/return", data=form)
    tester = signed(app, "Ola Brandt")
    page = opened(tester, f"/runs/{run}")
    told = fields_of(page, f"/runs/{run}/contest") | {"text": "The meter was checked twice."}
    answer = tester.post(f"/runs/{run}/contest", data=told)
    assert "Another maintainer looks at it." in text_of(parsed(answer.text))
    assert "not for you" in text_of(opened(maintainer, "/desk"), ".queue")
    other = signed(app, "Cy Reed", "maintain")
    queue = opened(other, "/desk")
    assert "The tester contests its return" in text_of(queue, ".queue")
    path = str(queue.select_one("[data-case]")["href"])
    settle = fields_of(opened(other, path), f"{path}/settle")
    other.post(f"{path}/settle", data=settle | {"outcome": "waits", "answer": "Right."})
    assert "Waiting" in text_of(opened(other, case))
    barred = opened(maintainer, case)
    assert "contested" in text_of(barred)


def test_a_note_stands_beside_the_claim(
    app: FastAPI, reader: TestClient, maintainer: TestClient
) -> None:
    path = str(opened(reader, "/appliances").select_one("tbody th a")["href"])
    claim = str(opened(reader, path).select_one('a[href^="/claims/"]')["href"])
    assert "has not answered" in text_of(opened(reader, claim))
    tester = signed(app, "Ola Brandt")
    form = fields_of(opened(tester, claim), f"{claim}/answers")
    assert form["kind"] == "correspondence"
    form |= {"text": "Asked how it was tested. Answer: without its hose.", "source": "e-mail"}
    tester.post(f"{claim}/answers", data=form)
    shown = text_of(opened(reader, path))
    assert "without its hose" in shown
    page = opened(maintainer, claim)
    remove = page.select_one('form[action$="/remove"]')
    action = str(remove["action"])
    told = fields_of(page, action) | {"reason": "Not from the maker."}
    maintainer.post(action, data=told)
    assert "without its hose" not in text_of(opened(reader, path))
    after = text_of(opened(reader, claim))
    assert "Not from the maker." in after
    assert "without its hose" not in after


def test_a_mailbox_is_checked_by_a_letter(
    app: FastAPI, maintainer: TestClient, capsys: pytest.CaptureFixture[str]
) -> None:
    import re

    form = fields_of(opened(maintainer, "/desk/makers"), "/desk/makers")
    form |= {"maker": "Millbeck", "domain": "millbeck.example"}
    assert "millbeck.example" in maintainer.post("/desk/makers", data=form).text
    eve = signed(app, "Eve Ray")
    path = str(opened(eve, "/appliances?text=millbeck").select_one("tbody th a")["href"])
    claim = str(opened(eve, path).select_one('a[href^="/claims/"]')["href"])
    ask = fields_of(opened(eve, claim), f"{claim}/speak")
    wrong = eve.post(f"{claim}/speak", data=ask | {"mailbox": "eve@other.example"})
    assert wrong.status_code == 422
    answer = eve.post(f"{claim}/speak", data=ask | {"mailbox": "eve@millbeck.example"})
    assert "A link is on its way" in text_of(parsed(answer.text))
    letter = capsys.readouterr()
    found = re.search(r"/speak-for\?secret=[\w-]+", letter.err + letter.out)
    assert found is not None
    confirm = opened(eve, found.group())  # opening it does nothing yet
    assert "has not answered" in text_of(opened(eve, claim))
    eve.post("/speak-for", data=fields_of(confirm, "/speak-for"))
    form = fields_of(opened(eve, claim), f"{claim}/answers")
    assert form["kind"] == "maker"
    eve.post(f"{claim}/answers", data=form | {"text": "Peak, for a moment.", "source": "press"})
    assert "Millbeck answers" in text_of(
        opened(TestClient(app, base_url="http://ledger.test"), path)
    )


def test_two_appliances_are_merged_after_a_preview(
    app: FastAPI, reader: TestClient, maintainer: TestClient
) -> None:
    links = opened(reader, "/appliances?sort=maker").select("tbody th a")
    keep, away = str(links[0]["href"]), str(links[1]["href"])
    ids = [path.rsplit("/", 1)[1].partition("-")[0] for path in (away, keep)]
    page = opened(maintainer, f"/desk/merge?from={ids[0]}&into={ids[1]}")
    assert "one\xa0run" in text_of(page, "[aria-labelledby=moves]")
    form = page.select('form[action="/desk/merge"]')[1]
    fields = {i["name"]: i.get("value", "") for i in form.select("input")}
    answer = maintainer.post("/desk/merge", data=fields | {"reason": "One and the same."})
    assert answer.url.path == keep
    assert "Merged with another, 1 run came along, by a maintainer: One and the same." in text_of(
        parsed(answer.text)
    )
    old = reader.get(away, follow_redirects=False)
    assert (old.status_code, old.headers["location"]) == (308, keep)
    stale = maintainer.post("/desk/merge", data=fields | {"reason": "Again."})
    assert stale.status_code == 409


def test_a_plate_is_corrected(reader: TestClient, maintainer: TestClient) -> None:
    path = str(opened(reader, "/appliances").select_one("tbody th a")["href"])
    own = path.rsplit("/", 1)[1].partition("-")[0]
    address = f"/desk/appliances/{own}/plate"
    form = fields_of(opened(maintainer, address), address)
    assert form["plate.current"] == "10.2 A"
    wrong = maintainer.post(address, data=form | {"plate.current": "12", "reason": "Misread."})
    assert wrong.status_code == 422
    assert "Misread." in wrong.text
    answer = maintainer.post(address, data=form | {"plate.current": "12 A", "reason": "Misread."})
    text = text_of(parsed(answer.text))
    assert "Rating plate corrected, revision 2, by a maintainer: Misread." in text
    assert "12 A" in answer.text.replace("\xa0", " ")


def test_several_runs_at_once(app: FastAPI, maintainer: TestClient) -> None:
    runs = [send_waiting(app, model=f"New {n}", scale=1 + n / 100) for n in range(3)]
    queue = opened(maintainer, "/desk")
    picks = [str(box["value"]) for box in queue.select('input[name="run"]')]
    assert len(picks) == 3
    opened(maintainer, f"/desk/runs/{runs[0]}")
    query = "&".join(f"run={one}" for one in picks)
    page = opened(maintainer, f"/desk/together?act=publish&{query}")
    assert "Publish 3 runs?" in text_of(page, "h1")
    case = f"/desk/runs/{runs[0]}"
    other = signed(app, "Cy Reed", "maintain")
    back = fields_of(opened(other, case), f"{case}/return") | {"reason": "No."}
    other.post(f"{case}/return", data=back)
    form = fields_of(page, "/desk/together")
    data = {"csrf_token": form["csrf_token"], "act": "publish", "run": picks}
    done = maintainer.post("/desk/together", data=data)
    assert problems_of(done.text) == []
    text = text_of(parsed(done.text))
    assert "Done: 2 runs, one run left as they were" in text
    assert "Nothing: Meanwhile" in text
    bare = maintainer.post("/desk/together", data=data | {"act": "withdraw"})
    assert bare.status_code == 422
