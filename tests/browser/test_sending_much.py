"""Large files in pieces over a connection that breaks off, and several files picked at once."""

from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Page, Route, expect

from tests.api.logs import small_log
from tests.browser.conftest import Ledger
from tests.browser.test_pages import axe_faults
from tests.browser.test_sending import describe_a_new_rig, sign_in

pytestmark = pytest.mark.browser

LOG_FIELD = "The log, as the logger wrote it"
SEND = "Send the file and look at its columns"
PIECE_BYTES = 4 << 20


def large_log(folder: Path) -> Path:
    """A log of 20 min over 8 MiB: sent in three pieces."""
    path = folder / "long dwell.csv"
    path.write_text(small_log(dwell_s=1200.0))
    assert 2 * PIECE_BYTES < path.stat().st_size < 3 * PIECE_BYTES
    return path


class Network:
    """Lets the pieces of a file through, except where a test cuts it; notes each one's start."""

    def __init__(self, page: Page, *, cut: Callable[[int], bool]) -> None:
        self.starts: list[int] = []
        self._cut = cut
        page.route("**/send/pieces/*", self._take)

    def _take(self, route: Route) -> None:
        if route.request.method != "PATCH":
            route.continue_()
            return
        self.starts.append(int(route.request.headers["upload-offset"]))
        if self._cut(len(self.starts)):
            route.abort("connectionreset")
        else:
            route.continue_()


def test_a_large_file_goes_on_where_the_connection_broke_off(
    open_page: Callable[..., Page], ledger: Ledger, tmp_path: Path
) -> None:
    page = open_page("/", provoked="ERR_CONNECTION_RESET")
    sign_in(page, ledger)
    network = Network(page, cut=lambda n: n == 2)
    page.get_by_label(LOG_FIELD).set_input_files(large_log(tmp_path))
    page.get_by_role("button", name=SEND).click()
    expect(page.locator("[data-said]")).to_contain_text("the connection broke off; trying again")
    page.wait_for_url("**/columns", timeout=60_000)
    assert network.starts == [0, PIECE_BYTES, PIECE_BYTES, 2 * PIECE_BYTES]
    page.get_by_role("button", name="These columns are right").click()
    page.wait_for_url("**/appliance")
    page.goto(page.url.replace("/appliance", "/rig"))
    describe_a_new_rig(page)
    page.get_by_label("Effective arm").fill("100 mm")
    page.get_by_label("Your name for the rig").click()
    expect(page.locator("#so-far dd").nth(1)).to_contain_text("W", timeout=30_000)


def test_a_large_file_goes_on_after_the_page_was_opened_anew(
    open_page: Callable[..., Page], ledger: Ledger, tmp_path: Path
) -> None:
    """Nobody signed in; the connection stays away until the tab is closed."""
    page = open_page("/send", provoked="ERR_CONNECTION_RESET")
    log = large_log(tmp_path)
    network = Network(page, cut=lambda n: n >= 2)
    page.get_by_label(LOG_FIELD).set_input_files(log)
    page.get_by_role("button", name=SEND).click()
    expect(page.locator("[data-said]")).to_contain_text("the connection broke off; trying again")
    page.unroute_all(behavior="ignoreErrors")
    page.goto("/send")
    network = Network(page, cut=lambda n: False)
    page.get_by_label(LOG_FIELD).set_input_files(log)
    page.get_by_role("button", name=SEND).click()
    page.wait_for_url("**/columns", timeout=60_000)
    assert network.starts == [PIECE_BYTES, 2 * PIECE_BYTES]


@pytest.mark.parametrize("width", [1280, 390])
def test_several_files_become_drafts_and_a_bad_one_is_told(
    open_page: Callable[..., Page], ledger: Ledger, width: int
) -> None:
    page = open_page("/", width=width)
    sign_in(page, ledger)
    logs = [f"dwell {width} {n}.csv" for n in (1, 2)]
    page.get_by_label(LOG_FIELD).set_input_files(
        [
            {"name": logs[0], "mimeType": "text/csv", "buffer": small_log().encode()},
            {"name": "note.txt", "mimeType": "text/plain", "buffer": b"just a note\n"},
            {
                "name": logs[1],
                "mimeType": "text/csv",
                "buffer": small_log(dwell_s=3.0).encode(),
            },
        ]
    )
    page.get_by_role("button", name=SEND).click()
    sent = page.locator("[data-sent] li")
    expect(sent).to_have_count(3)
    expect(sent.nth(0)).to_have_text(f"Go on with {logs[0]}")
    expect(sent.nth(1)).to_contain_text("note.txt was not taken: ")
    expect(sent.nth(2)).to_have_text(f"Go on with {logs[1]}")
    expect(page.locator("[data-said]")).to_have_text(
        "Files kept, each as a draft of its own: 2 of 3."
    )
    assert axe_faults(page) == []
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    for name in logs:
        page.goto("/send")
        page.get_by_role("link", name=f"Go on with {name}").click()
        page.wait_for_url("**/columns")
        expect(page.locator("main")).to_contain_text(f"{name}, ")
    page.goto("/send")
    expect(page.get_by_role("link", name="Go on with note.txt")).to_have_count(0)
