"""How much a sender has to do before figures stand there: clicks and fields are counted."""

import time
from collections.abc import Callable
from dataclasses import dataclass

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Ledger
from tests.browser.test_pages import axe_faults
from tests.browser.test_sending import describe_a_new_rig, sign_in

pytestmark = pytest.mark.browser
MOST = 12


@dataclass
class Hand:
    """Does what a person does, and counts it: a click, or a field filled in or chosen."""

    page: Page
    n_clicks: int = 0
    n_fields: int = 0

    def click(self, name: str) -> None:
        self.page.get_by_role("button", name=name).click()
        self.n_clicks += 1

    def fill(self, label: str, text: str) -> None:
        self.page.get_by_label(label, exact=True).first.fill(text)
        self.n_fields += 1

    def choose_file(self, path: object) -> None:
        self.page.get_by_label("The log, as the logger wrote it").set_input_files(str(path))
        self.n_fields += 1


def figures_stand(page: Page) -> None:
    page.wait_for_url("**/figures")
    expect(page.locator("main .heads dd").nth(1)).to_contain_text("W")


@pytest.mark.parametrize("width", [1280, 390])
def test_a_new_tester_with_a_new_rig_fills_in_few_fields(
    open_page: Callable[..., Page], ledger: Ledger, width: int
) -> None:
    """Without an account, from the page that asks for a file to the figures."""
    page = open_page("/send", width=width)
    hand = Hand(page)
    began = time.monotonic()
    hand.choose_file(ledger.log)
    hand.click("Send the file and look at its columns")
    page.wait_for_url("**/columns")
    assert page.locator("svg.spark").count() >= 4
    hand.click("These columns are right")
    page.wait_for_url("**/appliance")
    for label, text in {
        "Maker": "Wexmoor", "Model": f"Quick {width}", "Category": "corded drill",
        "Voltage": "120 V", "Current": "7 A",
    }.items():  # fmt: skip
        hand.fill(label, text)
    hand.click("On to the rig")
    page.wait_for_url("**/rig")
    hand.fill("Your name for the rig", "Drum brake")
    hand.fill("Effective arm", "200 mm")
    hand.click("On to the figures")
    figures_stand(page)
    print(f"{hand.n_fields} fields, {hand.n_clicks} clicks, {time.monotonic() - began:.1f} s")
    assert hand.n_fields <= MOST
    assert axe_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    way = page.locator("main").get_by_role("link", name="Sign up to send it for review")
    expect(way).to_be_visible()


def test_a_known_rig_takes_few_clicks_and_fields(
    open_page: Callable[..., Page], ledger: Ledger
) -> None:
    page = open_page("/")
    sign_in(page, ledger)
    first = Hand(page)
    first.choose_file(ledger.log)
    first.click("Send the file and look at its columns")
    page.wait_for_url("**/columns")
    page.goto(page.url.replace("/columns", "/appliance"))
    first.fill("Maker", "Wexmoor")
    first.fill("Model", "Known 1")
    first.fill("Current", "7 A")
    first.click("On to the rig")
    page.wait_for_url("**/rig")
    describe_a_new_rig(page)
    first.fill("Your name for the rig", "Drum brake")
    first.fill("Effective arm", "200 mm")
    first.click("On to the figures")
    figures_stand(page)
    page.locator("form[action$='/send'] button[type=submit]").click()
    page.wait_for_url("**/runs/*")
    page.goto("/send")
    hand = Hand(page)
    began = time.monotonic()
    hand.choose_file(ledger.log)
    hand.click("Send the file and look at its columns")
    page.wait_for_url("**/columns")
    expect(page.locator("#so-far")).to_contain_text("W")  # figures stand there already
    hand.click("These columns are right")
    page.wait_for_url("**/appliance")
    page.get_by_label("Wexmoor Known 1, tested by you before").check()
    hand.n_clicks += 1
    hand.click("On to the rig")
    page.wait_for_url("**/rig")
    hand.click("On to the figures")
    figures_stand(page)
    print(f"{hand.n_fields} fields, {hand.n_clicks} clicks, {time.monotonic() - began:.1f} s")
    assert hand.n_fields + hand.n_clicks <= MOST
