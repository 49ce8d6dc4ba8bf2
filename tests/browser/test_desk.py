"""The desk in a real browser: keys that decide and move on, access, widths, both colour schemes."""

from collections.abc import Callable, Iterator

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, Page, expect

from server.actions.issue_token import issue_token
from server.app import create_app
from server.settings import Settings
from server.static_files import build_static
from server.store.database import migrate, write_session
from tests.browser.conftest import _served
from tests.pages.desk_samples import send_waiting

pytestmark = pytest.mark.browser


@pytest.fixture(scope="module")
def desk(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[str, str]]:
    """A served ledger with four waiting runs; its address and a maintainer's token."""
    settings = Settings(data=tmp_path_factory.mktemp("desk") / "data")
    settings.data.mkdir()
    build_static()
    migrate(settings)
    app = create_app(settings)
    for number in range(4):
        send_waiting(app, model=f"Model {number}", scale=1 + number / 100)
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Bo Finch", scopes=("send", "maintain")).token
    app.state.resources.engine.dispose()
    with _served(settings) as address:
        yield address, token


@pytest.fixture
def open_desk(browser: Browser, desk: tuple[str, str]) -> Iterator[Callable[..., Page]]:
    contexts = []
    faults: list[str] = []

    def make(path: str = "/desk", *, width: int = 1280, is_dark: bool = False) -> Page:
        address, token = desk
        context = browser.new_context(
            base_url=address,
            viewport={"width": width, "height": 844},
            color_scheme="dark" if is_dark else "light",
        )
        contexts.append(context)
        context.request.post(
            f"{address}/sign-in",
            form={"token": token, "next": "/desk"},
            headers={"Sec-Fetch-Site": "same-origin"},
        )
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.goto(path)
        return page

    yield make
    for context in contexts:
        context.close()
    assert faults == []


def press(page: Page, key: str) -> None:
    """Press a key of the desk, as soon as the page tells that keys work."""
    expect(page.get_by_role("button", name="Switch keys off").first).to_be_visible()
    page.keyboard.press(key)


def n_waiting(page: Page) -> int:
    return page.locator(".queue tbody tr").count()


@pytest.mark.parametrize(("width", "is_dark"), [(1280, False), (390, True)])
def test_no_fault_of_access_and_nothing_overflows(
    open_desk: Callable[..., Page], width: int, is_dark: bool
) -> None:
    page = open_desk(width=width, is_dark=is_dark)
    case = page.locator("[data-case]").first.get_attribute("href")
    for path in ("/desk", case, "/desk/practice/unit-slip?decision=publish",
                 "/desk/practice/two-names?decision=merge", "/desk/merge",
                 "/desk/makers", "/notice"):  # fmt: skip
        page.goto(str(path))
        found = Axe().run(page).response["violations"]
        assert [(one["id"], one["nodes"][0]["html"][:200]) for one in found] == [], path
        assert page.evaluate("document.documentElement.scrollWidth") <= width, path


def test_one_key_decides_and_moves_on(open_desk: Callable[..., Page]) -> None:
    page = open_desk()
    before = n_waiting(page)
    press(page, "n")
    page.wait_for_url("**/desk/runs/*")
    first = page.url
    press(page, "p")
    page.wait_for_url(lambda url: url != first)
    assert "/desk/runs/" in page.url  # on to the next
    expect(page.get_by_role("status").first).to_contain_text("is published")
    page.goto("/desk")
    assert n_waiting(page) == before - 1


def test_keys_do_nothing_while_typing_or_switched_off(open_desk: Callable[..., Page]) -> None:
    page = open_desk("/desk/next")
    here = page.url
    press(page, "r")
    expect(page.locator("#field-1")).to_be_focused()
    page.locator("#text-1").focus()
    page.keyboard.type("pn")
    assert page.locator("#text-1").input_value() == "pn"
    assert page.url == here
    page.locator("h1").click()
    page.get_by_role("button", name="Switch keys off").click()
    page.locator("h1").click()
    page.keyboard.press("n")
    page.wait_for_timeout(300)
    assert page.url == here


def test_on_a_phone_the_facts_come_first_and_one_tap_leads_to_the_decision(
    open_desk: Callable[..., Page],
) -> None:
    page = open_desk("/desk/next", width=390)
    facts = page.locator("#similar").bounding_box()
    decision = page.locator("#decide").bounding_box()
    assert facts is not None
    assert decision is not None
    assert facts["y"] < decision["y"]
    page.get_by_role("link", name="To the decision").click()
    expect(page.locator("#decide")).to_be_in_viewport()
    expect(page.get_by_role("button", name="Publish")).to_be_in_viewport()
    wide = open_desk("/desk/next")
    expect(wide.get_by_role("link", name="To the decision")).to_be_hidden()
    expect(wide.get_by_role("button", name="Publish")).to_be_in_viewport()


def test_a_run_is_withdrawn_on_a_phone(open_desk: Callable[..., Page]) -> None:
    page = open_desk(width=390)
    before = n_waiting(page)
    page.locator("[data-case]").last.click()
    page.get_by_text("Withdraw it").click()
    page.locator("#withdraw-reason").fill("Not a bench test.")
    page.get_by_role("button", name="Withdraw").last.click()
    page.wait_for_url(lambda url: "withdraw" not in url)
    expect(page.get_by_role("status").first).to_contain_text("is withdrawn")
    page.goto("/desk")
    assert n_waiting(page) == before - 1
