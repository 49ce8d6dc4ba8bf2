"""From the front page to the bytes of the file in five clicks, on a desk and on a phone."""

import re
from collections.abc import Callable
from urllib.request import urlopen

import pytest
from playwright.sync_api import Page, expect

from tests.browser.conftest import Ledger
from tests.browser.test_pages import SMALL_TEXT, axe_faults

pytestmark = pytest.mark.browser


class Clicker:
    """Clicks what a reader sees, and counts."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.n = 0

    def click(self, selector: str) -> None:
        self.page.locator(selector).filter(visible=True).first.click()
        self.n += 1


@pytest.mark.parametrize(("width", "is_dark"), [(1280, False), (360, True)])
def test_a_newcomer_reaches_the_bytes_in_five_clicks(
    open_page: Callable[..., Page], ledger: Ledger, width: int, is_dark: bool
) -> None:
    page = open_page("/", width=width, is_dark=is_dark)
    reader = Clicker(page)

    reader.click("main table a[href^='/appliances/']")
    expect(page).to_have_url(re.compile(r"/appliances/[0-9a-z]{10}-"))
    figure = page.locator("dl.heads a[href*='/figures/']").filter(visible=True).first
    value = figure.inner_text()
    reader.click("dl.heads a[href*='/figures/']")
    expect(page).to_have_url(re.compile(r"/runs/[0-9a-z]{10}/figures/"))
    expect(page.locator(".one-figure")).to_contain_text(value)
    expect(page.locator("p", has_text="What to improve first")).to_be_visible()
    expect(page.get_by_role("heading", name="The fit it is read off")).to_be_visible()
    reader.click("a[href='#readings']")
    row = page.locator("table.list tbody tr").filter(visible=True).first
    places = row.locator("td").last.inner_text().replace("\u202f", "")
    first, last = (int(number) for number in re.findall(r"\d+", places)[-2:])
    run = re.search(r"/runs/([0-9a-z]{10})/", page.url)
    assert run is not None
    reader.click("table.list a[href*='/file?rows=']")
    expect(page).to_have_url(re.compile(r"/file\?rows=\d+-\d+$"))

    with urlopen(page.url) as answer:
        shown = answer.read()
    with urlopen(f"{ledger.address}/api/v1/runs/{run.group(1)}/file") as answer:
        whole = answer.read()
    assert shown == whole[first : last + 1]
    assert reader.n <= 5


@pytest.mark.parametrize("is_dark", [False, True])
def test_the_page_of_a_figure_keeps_the_rules(
    open_page: Callable[..., Page], ledger: Ledger, is_dark: bool
) -> None:
    page = open_page("/", is_dark=is_dark)
    reader = Clicker(page)
    reader.click("main table a[href^='/appliances/']")
    reader.click("dl.heads a[href*='/figures/']")
    page.evaluate("document.querySelectorAll('main details').forEach(d => { d.open = true; })")
    assert axe_faults(page) == []
    for width in (360, 390, 700, 1000, 1280):
        page.set_viewport_size({"width": width, "height": 844})
        wide = page.evaluate("document.documentElement.scrollWidth")
        assert wide <= width, f"{wide} px at {width}"
        assert page.evaluate(SMALL_TEXT) == []
