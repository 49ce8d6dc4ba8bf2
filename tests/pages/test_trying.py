"""A file tried without an account, readings typed row by row, and forms that outlive a sign-in."""

from collections.abc import Callable

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.pages.send_readings import table_of, wrong_cells
from server.store import tables as t
from server.store.database import read_session
from tests.api.logs import small_log
from tests.intake.sheets import log_rows, workbook
from tests.pages.reading import parsed, problems_of, text_of
from tests.pages.test_routes import fields_of, go_on, opened, signed_in, upload

Browser = TestClient


def test_anybody_may_try_a_file(browser_without_scripts: Browser) -> None:
    browser = browser_without_scripts
    columns = upload(browser, small_log())
    assert "r/min" in text_of(opened(browser, columns), "#so-far")
    start = columns.removesuffix("/columns")
    figures = opened(browser, f"{start}/figures")
    assert figures.select_one(f'form[action="{start}/send"]') is None
    assert "kept for 24 hours" in text_of(figures)
    way = figures.select_one('main a[href^="/sign-up"]')
    assert way["href"] == f"/sign-up?next={start.replace('/', '%2F')}%2Ffigures"
    answer = browser.post(f"{start}/send", data={"csrf_token": "x"})
    assert answer.status_code in {401, 403}
    browser.cookies.clear()
    assert browser.get(columns, follow_redirects=False).status_code == 303


def test_what_was_tried_comes_along_when_signing_in(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = browser_without_scripts
    columns = upload(browser, small_log())
    signed_in(browser, new_token())
    assert opened(browser, columns).select_one("table.column-check") is not None
    figures = opened(browser, columns.replace("/columns", "/figures"))
    assert "kept for 24 hours" not in text_of(figures)


def test_each_column_has_its_line_and_the_lines_above_are_asked_about(
    browser_without_scripts: Browser,
) -> None:
    columns = upload(browser_without_scripts, "# Logged by A. Quill\n" + small_log())
    page = opened(browser_without_scripts, columns)
    lines = page.select("svg.spark")
    assert len(lines) == 6
    assert "from" in lines[0]["aria-label"]
    assert "Does this name anyone?" in text_of(page)
    assert "A. Quill" in text_of(page)


def test_rows_are_numbered_as_in_what_is_said_about_them(browser_without_scripts: Browser) -> None:
    header, *rows = small_log().splitlines()
    log = "\n".join(["# Bench 2", header, rows[0], "", "# a pause", rows[1].replace("0", "x", 1)])
    log += "\n" + "\n".join(rows[2:]) + "\n"
    page = opened(browser_without_scripts, upload(browser_without_scripts, log))

    assert "row 6" in page.get_text()
    table = page.select_one("table.column-check")
    assert table is not None
    assert [th.get_text(strip=True) for th in table.select("tbody th")][-8:-6] == ["Row 3", "Row 6"]


def test_what_both_head_and_file_show_is_said_once(browser_without_scripts: Browser) -> None:
    log = "\n".join(small_log().splitlines()[1:]) + "\n"
    page = opened(browser_without_scripts, upload(browser_without_scripts, log))

    assert page.get_text().count("there is no header") == 1


def test_readings_are_typed_row_by_row(browser_without_scripts: Browser) -> None:
    browser = browser_without_scripts
    form = fields_of(opened(browser, "/send/readings"), "/send/readings")
    for number, (torque, speed) in enumerate(
        ((0.0, 20000), (0.1, 18000), (0.2, 16000), (0.3, 14000), (0.4, 12000)), start=1
    ):
        form[f"row.{number}.torque"] = f"{torque:.1f}".replace(".", ",")
        form[f"row.{number}.speed"] = str(speed)
        form[f"row.{number}.current"] = f"{2 + torque * 15:.2f}"
    more = browser.post("/send/readings", data={**form, "act": "add"})
    assert more.status_code == 200
    assert problems_of(more.text) == []
    longer = fields_of(parsed(more.text), "/send/readings")
    assert longer["row.2.torque"] == "0,1"
    assert "row.10.speed" in longer
    kept = browser.post("/send/readings", data={**longer, "act": "keep"})
    assert kept.url.path.endswith("/columns"), kept.text
    soup = parsed(kept.text)
    assert "readings by hand" in text_of(soup)
    heads = [th.get_text() for th in soup.select("table.column-check thead th")][1:]
    assert heads == ["load step", "current [A]", "torque [N·m]", "speed [1/min]"]
    assert "W" in text_of(soup, "#so-far")


@pytest.mark.parametrize(
    ("speed", "torque", "table"),
    [
        ("17 500", "0,31", "17500;0.31"),
        ("17\u202f500", "0.31", "17500;0.31"),
        ("17’500", "0.31", "17500;0.31"),
        ("17,500", "0.31", "17500;0.31"),
        ("17.500", "0,31", "17500;0.31"),
        ("17,500.5", "0.31", "17500.5;0.31"),
        ("17500", "1,190", "two ways. Write 1190, or 1,1900."),
        ("17500", "1,1900", "17500;1.1900"),
        ("17.500", "0.31", "17.500;0.31"),
    ],
)
def test_thousands_and_decimals_are_told_apart(speed: str, torque: str, table: str) -> None:
    form = {"row.1.torque": torque, "row.1.speed": speed}
    wrong = wrong_cells(form)
    if "two ways" in table:
        assert table in wrong[0]
    else:
        assert wrong == ()
        assert sorted(table_of(form).splitlines()[1].split(";")[1:]) == sorted(table.split(";"))


def test_a_wrong_reading_gives_the_rows_back(browser_without_scripts: Browser) -> None:
    browser = browser_without_scripts
    form = fields_of(opened(browser, "/send/readings"), "/send/readings")
    answer = browser.post("/send/readings", data={**form, "act": "keep"})
    assert answer.status_code == 422
    assert "No row holds a reading" in text_of(parsed(answer.text))
    form |= {"row.1.volts": "x", "row.1.speed": "fast", "row.2.speed": "slow"}
    answer = browser.post("/send/readings", data={**form, "act": "keep"})
    assert answer.status_code == 422
    assert fields_of(parsed(answer.text), "/send/readings")["row.1.speed"] == "fast"


def test_a_form_that_outlives_its_sign_in_is_given_back(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    start = upload(browser, small_log()).removesuffix("/columns")
    path = f"{start}/appliance"
    typed = fields_of(opened(browser, path), path) | {"appliance.maker": "Osk & <Sons>"}
    kept_cookies = dict(browser.cookies)
    browser.cookies.clear()
    answer = browser.post(path, data={**typed, "act": "next"})
    assert answer.status_code == 401
    assert problems_of(answer.text) == []
    back = fields_of(parsed(answer.text), path)
    assert back["appliance.maker"] == "Osk & <Sons>"
    assert kept_cookies
    signed_in(browser, new_token())
    older = browser.post(path, data=back)
    assert older.status_code == 403
    again = fields_of(parsed(older.text), path)
    done = browser.post(path, data=again)
    assert done.status_code == 200
    assert done.url.path == f"{start}/rig"
    assert fields_of(opened(browser, path), path)["appliance.maker"] == "Osk & <Sons>"


def test_another_site_gets_nothing_back(
    browser_without_scripts: Browser, new_token: Callable[[], str]
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    start = upload(browser, small_log()).removesuffix("/columns")
    answer = browser.post(
        f"{start}/rig", data={"rig.name": "x"}, headers={"Sec-Fetch-Site": "cross-site"}
    )
    assert answer.status_code == 403
    assert "rig.name" not in answer.text


def test_a_near_spelling_is_offered(browser_without_scripts: Browser) -> None:
    browser = browser_without_scripts
    start = upload(browser, small_log()).removesuffix("/columns")
    page = go_on(
        browser, f"{start}/appliance", act="stay",
        appliance__maker="Milbeck", appliance__model="wd30",
    )  # fmt: skip
    assert "Much like what you typed" in text_of(page)
    labels = [label.get_text(strip=True) for label in page.select("label.inline")]
    assert any(label.startswith("Millbeck WD-30") for label in labels)
    other = go_on(
        browser, f"{start}/appliance", act="stay",
        appliance__maker="Millbeck", appliance__model="WD-40",
    )  # fmt: skip
    assert "Much like what you typed" not in text_of(other)


def test_a_rig_is_copied_and_changed(
    browser_without_scripts: Browser, new_token: Callable[[], str], app: FastAPI
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    start = upload(browser, small_log()).removesuffix("/columns")
    page = opened(browser, f"{start}/rig")
    picked = page.select("input[name='pick.rig']")[0]["value"]
    copied = go_on(browser, f"{start}/rig", act="copy", pick__rig=picked)
    fields = fields_of(copied, f"{start}/rig")
    assert fields["pick.rig"] == ""
    assert fields["rig.name"] == "Bench one"
    assert fields["rig.arm"] == "100 mm"
    assert fields["instrument.1.of_reading"] == "0.5 %"
    go_on(browser, f"{start}/appliance", appliance__maker="Osk", appliance__model="Rig test")
    figures = go_on(browser, f"{start}/rig", rig__arm="120 mm")
    run = browser.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
    assert run.status_code == 200, run.text
    revisions = browser.get(f"/api/v1/rigs/{picked}/revisions").json()["items"]
    assert [one["arm"] for one in revisions][:1] != [one["arm"] for one in revisions][1:2]
    assert len(revisions) == 2


def test_a_sheet_is_chosen_and_its_lines_above_are_left_out(
    browser_without_scripts: Browser,
) -> None:
    browser = browser_without_scripts
    rows = log_rows(small_log())
    book = workbook([["Logged by A. Quill"], *rows], more={"Second": rows[:100]})
    form = fields_of(opened(browser, "/send"), "/send")
    form.pop("file", None)
    kept = browser.post("/send", data=form, files={"file": ("run.xlsx", book)})
    assert kept.status_code == 200, kept.text
    path = str(kept.url.path)
    page = opened(browser, path)
    assert "sheet “Log”" in text_of(page)
    assert "A. Quill" in text_of(page)
    other = go_on(browser, path, act="stay", run__sheet="Second")
    assert "sheet “Second”" in text_of(other)
    assert "Does this name anyone?" not in text_of(other)
    go_on(browser, path, act="stay", run__sheet="Log")
    shorter = go_on(browser, path, act="strip")
    text = text_of(shorter)
    assert "A. Quill" not in text
    assert "run.csv" in text
    assert "r/min" in text_of(shorter, "#so-far")


def test_lines_above_a_header_are_left_out_byte_for_byte(
    browser_without_scripts: Browser, app: FastAPI
) -> None:
    browser = browser_without_scripts
    log = small_log().replace("\n", "\r\n")
    path = upload(browser, "Logger 5\r\nA. Quill, 5 Mill Lane\r\n" + log)
    page = go_on(browser, path, act="strip")
    assert "A. Quill" not in text_of(page)
    with read_session(app.state.resources.engine) as session:
        digest = session.execute(sa.select(t.DraftRow.file_sha256)).scalar_one()
    stored = app.state.settings.files / "originals" / digest[:2] / digest
    assert stored.read_bytes() == log.encode()
