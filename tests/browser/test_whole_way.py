"""The whole way, by people at browsers: try, sign up, send, be returned, correct, be published,
be reported, and read on the page what changed. On a desk and on a phone."""

import re
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from server.actions.issue_token import issue_token
from server.settings import Settings
from server.static_files import build_static
from server.store.database import make_engine, migrate, write_session
from tests.api.logs import small_log
from tests.browser.conftest import _served, letters_of
from tests.browser.test_pages import axe_faults
from tests.pages.people import PASSWORD, link_in, newest_letter

pytestmark = pytest.mark.browser

# A decision leads on to the next case, or to the queue, and says there what was decided.
DECIDED = re.compile(r"[?&](done|settled)=")


@dataclass(frozen=True, slots=True)
class Office:
    """A ledger where somebody looks first, and a maintainer's token."""

    address: str
    token: str
    letters: Path


@pytest.fixture(scope="module")
def office(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Office]:
    settings = Settings(data=tmp_path_factory.mktemp("office") / "data")
    settings.data.mkdir()
    build_static()
    migrate(settings)
    engine = make_engine(settings)
    with write_session(engine) as session:
        token = issue_token(session, tester="Bo Finch", scopes=("send", "maintain")).token
    engine.dispose()
    with _served(settings, standing_runs="5", first_run_waits="true") as address:
        yield Office(address, token, letters_of(settings))


@pytest.fixture
def window(browser: Browser, office: Office) -> Iterator[Callable[[int], Page]]:
    """Opens a fresh browser of one person; faults of its pages fail the test."""
    contexts = []
    faults: list[str] = []

    def make(width: int) -> Page:
        context = browser.new_context(
            base_url=office.address, viewport={"width": width, "height": 844}
        )
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        return page

    yield make
    for context in contexts:
        context.close()
    assert faults == []


def messy_log() -> bytes:
    """As a logger with a comma for the decimals writes it, its torque under a name of its own."""
    header, *rows = small_log().splitlines()
    head = header.replace("torque [N m]", "Messwert 4").replace(",", ";")
    lines = ["# Bremse 2, Messung am Vormittag", "# Intervall 50 ms", head]
    lines += [row.replace(",", ";").replace(".", ",") for row in rows]
    return ("\r\n".join(lines) + "\r\n").encode("latin-1")


def checked(page: Page, width: int) -> None:
    assert axe_faults(page) == [], page.url
    assert page.evaluate("document.documentElement.scrollWidth") <= width, page.url


def try_without_account(page: Page, width: int) -> str:
    """A file of one's own, one column corrected, appliance and rig described; gives the draft."""
    page.goto("/send")
    checked(page, width)
    page.get_by_label("The log, as the logger wrote it").set_input_files(
        {"name": "Messung 7.csv", "mimeType": "text/csv", "buffer": messy_log()}
    )
    page.get_by_role("button", name="Send the file and look at its columns").click()
    page.wait_for_url("**/columns")
    checked(page, width)
    page.get_by_label("Messwert 4 is").select_option("torque")
    page.get_by_label("Unit of Messwert 4").fill("N m")
    page.get_by_role("button", name="These columns are right").click()
    page.wait_for_url("**/appliance")
    for label, typed in {
        "Maker": "Wexmoor", "Model": f"Shop vac {width}", "Category": "wet/dry vacuum",
        "Voltage": "120 V", "Current": "9 A", "Printed power": "5 hp",
        "Its exact words": "5.0 peak HP",
    }.items():  # fmt: skip
        page.get_by_label(label, exact=True).first.fill(typed)
    checked(page, width)
    page.get_by_role("button", name="On to the rig").click()
    page.wait_for_url("**/rig")
    page.get_by_label("Your name for the rig").fill("Arm brake")
    page.get_by_label("Effective arm").fill("0.2 m")
    page.get_by_role("button", name="On to the figures").click()
    page.wait_for_url("**/figures")
    expect(page.locator("main .heads dd").first).to_contain_text("W")
    expect(page.locator("main")).to_contain_text("kept for 24 hours")
    checked(page, width)
    return page.url


def sign_up(page: Page, office: Office, mailbox: str, width: int) -> None:
    """From the draft over the sign-up and the letter back to the draft."""
    page.get_by_role("link", name="Sign up to send it for review").click()
    page.get_by_label("Name").fill("Cy Tarn")
    page.get_by_label("E-mail address").fill(mailbox)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign up").click()
    expect(page.locator("main h1")).to_have_text("Look into your mailbox")
    page.goto(link_in(newest_letter(office.letters, mailbox)))
    checked(page, width)
    page.get_by_role("button", name="Confirm this address").click()


def send_for_review(page: Page, draft: str) -> str:
    """Agree to the licence, send; gives the run's address."""
    if page.url != draft:
        page.goto(draft)
    page.get_by_label("I place what I send under CC BY 4.0").check()
    page.get_by_role("button", name="Send for review").click()
    page.wait_for_url("**/runs/*")
    return page.url


def to_the_desk(page: Page, office: Office, width: int) -> None:
    page.goto("/sign-in?next=/desk")
    page.get_by_label("Token").fill(office.token)
    page.locator("main").get_by_role("button", name="Sign in").last.click()
    page.wait_for_url("**/desk")
    checked(page, width)


def return_it(page: Page, run: str, width: int) -> None:
    page.goto(f"/desk/runs/{run}")
    checked(page, width)
    page.locator("#field-1").select_option("rig.arm")
    page.locator("#text-1").fill("The arm reads twice too long: is it the diameter?")
    page.get_by_role("button", name="Return with remarks").click()
    page.wait_for_url(DECIDED)


def correct_it(page: Page, address: str, width: int) -> None:
    page.goto(address)
    expect(page.locator("[data-field='rig.arm']")).to_contain_text("twice too long")
    checked(page, width)
    remarks = page.locator("section", has=page.locator("#remarks"))
    remarks.get_by_role("button", name="Correct this run").click()
    page.wait_for_url("**/send/**")
    draft = page.url.rsplit("/", 1)[0]
    page.goto(f"{draft}/rig")
    expect(page.get_by_role("note")).to_contain_text("twice too long")
    page.locator("input[name='pick.rig'][value='']").check()
    page.get_by_label("Your name for the rig").fill("Arm brake")
    page.get_by_label("Effective arm").fill("0.1 m")
    page.get_by_role("button", name="On to the figures").click()
    page.wait_for_url("**/figures")
    page.get_by_label("Why it is corrected").fill("It was the drum’s diameter.")
    page.get_by_role("button", name="Send the correction").click()
    page.wait_for_url("**/runs/*")


def publish_it(page: Page, run: str) -> None:
    page.goto(f"/desk/runs/{run}")
    expect(page.locator("#revisions")).to_be_visible()
    page.locator("#publish button").click()
    page.wait_for_url(DECIDED)


def report_it(page: Page, address: str, width: int) -> None:
    page.goto(address)
    page.get_by_role("link", name="Something wrong with this run?").click()
    page.get_by_label("What is wrong").fill("The plate in the shop says 8 A, not 9 A.")
    checked(page, width)
    page.get_by_role("button", name="Send the report").click()
    expect(page.get_by_role("status")).to_contain_text("Keep this page’s address")


def settle_it(page: Page, run: str) -> None:
    page.goto(f"/desk/runs/{run}")
    page.locator("#concerns + ul a").first.click()
    page.locator("input[name=outcome][value=stands]").check()
    page.get_by_label("Answer").fill("The other size has 8 A; this one says 9 A.")
    page.get_by_role("button", name="Settle it").click()
    page.wait_for_url(DECIDED)


@pytest.mark.parametrize("width", [1280, 390])
def test_from_trying_to_what_changed(
    window: Callable[[int], Page], office: Office, width: int
) -> None:
    tester, maintainer, reader = window(width), window(width), window(width)
    draft = try_without_account(tester, width)
    sign_up(tester, office, f"cy{width}@bench.example", width)
    address = send_for_review(tester, draft)
    run = address.rsplit("/", 1)[1]
    reader.goto(address)
    expect(reader.locator("main h1")).to_have_text("Nothing stands here")  # nobody has looked yet

    to_the_desk(maintainer, office, width)
    return_it(maintainer, run, width)
    correct_it(tester, address, width)
    publish_it(maintainer, run)

    report_it(reader, address, width)
    settle_it(maintainer, run)

    reader.goto(address)
    checked(reader, width)
    changed = reader.locator("section", has=reader.locator("#what-changed"))
    for words in ("returned", "published", "report"):
        expect(changed).to_contain_text(words, ignore_case=True)
    expect(changed).to_contain_text("It was the drum’s diameter.")
