"""Readings by hand on a phone: rows with and without a script, and what was typed stays."""

from collections.abc import Callable

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Ledger
from tests.browser.test_pages import axe_faults
from tests.browser.test_sending import sign_in

pytestmark = pytest.mark.browser

WIDTH = 390
HEADER = "load step;voltage [V];current [A];power [W];torque [mN·m];speed [1/min]"


def tables_kept(ledger: Ledger) -> list[list[str]]:
    files = [path for path in ledger.settings.files.rglob("*") if path.is_file()]
    return [path.read_text(errors="replace").splitlines() for path in files]


def cell(page: Page, quantity: str, load: int):  # type: ignore[no-untyped-def]
    return page.get_by_label(f"{quantity}, load {load}", exact=True)


def n_rows(page: Page) -> int:
    return page.locator("table.readings tbody tr").count()


def type_load(page: Page, load: int) -> None:
    for quantity, typed in {
        "Volts": "120", "Amps": f"{2 + load}", "Watts": f"{200 + 100 * load}",
        "Torque": f"0,{load}", "Speed": f"{20000 - 1000 * load}",
    }.items():  # fmt: skip
        cell(page, quantity, load).fill(typed)


@pytest.mark.parametrize("has_scripts", [True, False])
def test_rows_are_added_and_what_was_typed_stays(
    open_page: Callable[..., Page], ledger: Ledger, has_scripts: bool
) -> None:
    page = open_page("/send/readings", width=WIDTH, has_scripts=has_scripts)
    assert n_rows(page) == 6
    page.get_by_label("Torque", exact=True).select_option("mN·m")
    for load in range(1, 7):
        type_load(page, load)
    page.get_by_role("button", name="Add rows").click()
    expect(cell(page, "Volts", 10)).to_be_visible()
    expect(cell(page, "Volts", 7)).to_have_value("")
    for load in range(7, 10):
        type_load(page, load)
    for load in range(1, 10):
        expect(cell(page, "Torque", load)).to_have_value(f"0,{load}")
        expect(cell(page, "Speed", load)).to_have_value(f"{20000 - 1000 * load}")
    expect(page.get_by_label("Torque", exact=True)).to_have_value("mN·m")
    assert page.evaluate("document.documentElement.scrollWidth") <= WIDTH
    page.get_by_role("button", name="Keep these readings").click()
    page.wait_for_url("**/columns")
    rows = [f"{n};120;{2 + n};{200 + 100 * n};0.{n};{20000 - 1000 * n}" for n in range(1, 10)]
    assert [HEADER, *rows] in tables_kept(ledger)


def test_added_rows_outlive_a_page_opened_anew(
    open_page: Callable[..., Page], ledger: Ledger
) -> None:
    page = open_page("/send/readings", width=WIDTH)
    for load in range(1, 9):  # a reading in the last row asks for the next one
        type_load(page, load)
    assert axe_faults(page) == []
    page.reload()
    for load in range(1, 9):
        expect(cell(page, "Torque", load)).to_have_value(f"0,{load}")
    assert cell(page, "Volts", 9).input_value() == ""


def test_a_wrong_cell_is_told_and_every_row_stays(
    open_page: Callable[..., Page], ledger: Ledger
) -> None:
    page = open_page("/", width=WIDTH)
    sign_in(page, ledger)
    page.goto("/send/readings")
    for load in range(1, 9):
        type_load(page, load)
    cell(page, "Watts", 8).fill("about 900")
    page.get_by_role("button", name="Keep these readings").click()
    expect(page.locator("main")).to_contain_text("Load 8, watts: “about 900” is no figure.")
    for load in range(1, 9):
        expect(cell(page, "Torque", load)).to_have_value(f"0,{load}")
    cell(page, "Watts", 8).fill("1000")
    page.get_by_role("button", name="Keep these readings").click()
    page.wait_for_url("**/columns")


def test_what_was_typed_outlives_a_form_that_never_arrived(
    open_page: Callable[..., Page], ledger: Ledger
) -> None:
    page = open_page("/", width=WIDTH, provoked="ERR_INTERNET_DISCONNECTED")
    sign_in(page, ledger)
    page.goto("/send/readings")
    for load in range(1, 9):
        type_load(page, load)
    page.context.set_offline(True)
    page.get_by_role("button", name="Keep these readings").click()
    page.wait_for_url("chrome-error://**")
    page.context.set_offline(False)
    page.goto("/send/readings")
    for load in range(1, 9):
        expect(cell(page, "Torque", load)).to_have_value(f"0,{load}")
    page.get_by_role("button", name="Keep these readings").click()
    page.wait_for_url("**/columns")
    # Taken: the next table begins empty.
    page.goto("/send/readings")
    page.wait_for_load_state("networkidle")
    expect(cell(page, "Torque", 1)).to_have_value("")
    assert n_rows(page) == 6
