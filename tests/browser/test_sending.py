"""From signing in over a log sent in steps to the new appliance side by side with others."""

import re
from collections.abc import Callable

import httpx
import pytest
from playwright.sync_api import Page, expect

from tests.api.logs import parts
from tests.browser.conftest import Ledger
from tests.browser.test_pages import axe_faults

pytestmark = pytest.mark.browser


def sign_in(page: Page, ledger: Ledger) -> None:
    page.goto("/send")
    page.locator("main").get_by_role("link", name="Sign in").click()
    page.get_by_label("Token").fill(ledger.token)
    page.locator("main").get_by_role("button", name="Sign in").click()
    expect(page.get_by_label("The log, as the logger wrote it")).to_be_visible()


def describe_a_new_rig(page: Page) -> None:
    """Where rigs are kept already, one of them is picked and the form of a new one out of sight."""
    another = page.locator("[name='pick.rig'][value='']")
    if another.count() > 0:
        another.check()


def send_file(page: Page, ledger: Ledger) -> None:
    page.get_by_label("The log, as the logger wrote it").set_input_files(ledger.log)
    page.get_by_role("button", name="Send the file and look at its columns").click()
    page.wait_for_url("**/columns")


@pytest.mark.parametrize("width", [1280, 390])
def test_from_sign_in_to_side_by_side(
    open_page: Callable[..., Page], ledger: Ledger, width: int
) -> None:
    page = open_page("/", width=width)
    page.get_by_role("link", name="Send a run", exact=True).first.click()
    sign_in(page, ledger)
    assert axe_faults(page) == []
    send_file(page, ledger)
    assert axe_faults(page) == []
    assert page.locator("table.column-check tbody tr").count() >= 6
    page.get_by_role("button", name="These columns are right").click()
    page.wait_for_url("**/appliance")
    assert axe_faults(page) == []
    model = f"Hand drill {width}"
    for label, typed in {
        "Maker": "Wexmoor", "Model": model, "Category": "corded drill", "Voltage": "120 V",
        "Current": "7 A", "Plug’s circuit": "15 A", "Printed power": "1.2 hp",
        "Its exact words": "1.2 HP max",
    }.items():  # fmt: skip
        page.get_by_label(label, exact=True).first.fill(typed)
    page.locator("select[name='plate.supply']").select_option("AC")
    page.get_by_role("button", name="On to the rig").click()
    page.wait_for_url("**/rig")
    assert axe_faults(page) == []
    page.locator("[name='pick.rig'][value='']").check()
    page.get_by_label("Your name for the rig").fill("Drum brake")
    page.get_by_label("Effective arm").fill("200 mm")
    page.get_by_role("button", name="On to the figures").click()
    page.wait_for_url("**/figures")
    assert axe_faults(page) == []
    expect(page.locator("main .heads dd").nth(1)).to_contain_text("W")
    page.locator("form[action$='/send'] button").click()
    page.wait_for_url("**/runs/*")
    expect(page.locator("h1")).to_contain_text("Brake run")
    page.goto("/side-by-side")
    page.get_by_label("Maker or model", exact=True).last.fill("")
    page.goto("/appliances")
    boxes = page.locator("tbody input[name=appliance]")
    for i in range(3):
        boxes.nth(i).check()
    page.get_by_role("button", name="Set the ticked ones side by side").click()
    page.wait_for_url("**/side-by-side?**")
    expect(page.locator("table.compare tbody tr").first).to_be_visible()
    assert page.url.count("appliance=") == 3
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_figures_follow_a_corrected_column(open_page: Callable[..., Page], ledger: Ledger) -> None:
    page = open_page("/")
    sign_in(page, ledger)
    send_file(page, ledger)
    page.goto(page.url.replace("/columns", "/rig"))
    told = page.locator("#so-far")
    # A rig that wrote the same headers before is picked already: this one is another.
    another = page.locator("input[name='pick.rig'][value='']")
    if not another.is_checked():
        before = told.inner_text()
        another.check()
        expect(told).not_to_have_text(before, use_inner_text=True)
    before = told.inner_text()
    page.get_by_label("Effective arm").fill("200 mm")
    page.get_by_label("Your name for the rig").click()
    expect(told).not_to_have_text(before, use_inner_text=True)
    expect(told).to_contain_text("W")
    # Another window finds what was typed: it was kept, though nothing was pressed.
    page.goto("/my-runs")
    page.get_by_role("link", name=ledger.log.name).first.click()
    page.goto(page.url.replace("/columns", "/rig"))
    expect(page.get_by_label("Effective arm")).to_have_value("200 mm")


def test_a_picked_rig_hides_the_form_of_a_new_one_and_copying_shows_it(
    open_page: Callable[..., Page], ledger: Ledger
) -> None:
    sent = httpx.post(
        f"{ledger.address}/api/v1/runs",
        files=parts(),
        headers={"Authorization": f"Bearer {ledger.token}"},
    )
    assert sent.status_code == 201, sent.text
    page = open_page("/", width=390)
    sign_in(page, ledger)
    send_file(page, ledger)
    page.goto(page.url.replace("/columns", "/rig"))
    arm, another = page.get_by_label("Effective arm"), page.locator("[name='pick.rig'][value='']")
    another.check()
    expect(arm).to_be_visible()
    page.get_by_label("Bench one").check()
    expect(arm).to_be_hidden()
    expect(page.get_by_text("Instruments of a new rig and their accuracy")).to_be_hidden()
    page.get_by_role("button", name="Copy the picked rig and change it").click()
    expect(another).to_be_checked()
    expect(arm).to_be_visible()
    expect(arm).to_have_value(re.compile("100|0.1"))


def test_a_log_that_can_not_be_used_is_told_in_place(
    open_page: Callable[..., Page], ledger: Ledger
) -> None:
    page = open_page("/")
    sign_in(page, ledger)
    page.get_by_label("The log, as the logger wrote it").set_input_files(
        {"name": "note.txt", "mimeType": "text/plain", "buffer": b"just a note\n"}
    )
    page.get_by_role("button", name="Send the file and look at its columns").click()
    expect(page.locator("h1")).to_have_text("This log can't be used")
