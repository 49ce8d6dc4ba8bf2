"""What only a real browser can tell: faults of access, shift, overflow, charts under the policy."""

import json
from collections.abc import Callable

import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Page, expect

from tests.browser.conftest import Ledger

pytestmark = pytest.mark.browser

KINDS = (
    "front", "catalogue", "appliance", "run", "side-by-side", "picker", "send", "methods",
    "safety", "data-licence", "sign-in", "ranked", "missing",
)  # fmt: skip
WITH_CHARTS = ("appliance", "run", "side-by-side")
SHIFT = """() => { window.shifted = 0;
  new PerformanceObserver(list => {
    for (const entry of list.getEntries()) if (!entry.hadRecentInput) window.shifted += entry.value;
  }).observe({type: 'layout-shift', buffered: true}); }"""
SMALL_TEXT = """() => { const found = [];
  for (const tag of document.querySelectorAll('body *')) {
    if (![...tag.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
    const box = tag.getBoundingClientRect(); if (!box.width || !box.height) continue;
    let size = parseFloat(getComputedStyle(tag).fontSize); const svg = tag.ownerSVGElement;
    if (svg && svg.viewBox.baseVal.width)
      size *= svg.getBoundingClientRect().width / svg.viewBox.baseVal.width;
    if (size < 11.95) found.push(`${tag.textContent.trim().slice(0, 30)}: ${size}`);
  } return found; }"""

# Targets under 24 px (WCAG 2.2, 2.5.8), but for links within a sentence or a picture.
SMALL_TARGETS = """() => { const found = [];
  for (const one of document.querySelectorAll('a[href], button, summary, input, select')) {
    if (one.type === 'hidden' || one.closest('svg, .skip, .unseen')) continue;
    const beside = [...one.parentElement.childNodes].some(
      n => n.nodeType === 3 && n.textContent.trim().length > 3);
    const box = one.getBoundingClientRect(); if (!box.width || beside) continue;
    if (box.height < 23.9 || box.width < 23.9)
      found.push(`${one.textContent.trim().slice(0, 30)}: ${box.width} x ${box.height}`);
  } return found; }"""


@pytest.fixture(scope="session")
def paths(ledger: Ledger) -> dict[str, str]:
    """An address of every kind of page."""
    from urllib.request import urlopen

    with urlopen(f"{ledger.address}/api/v1/appliances") as answer:
        items = json.load(answer)["items"]
    with urlopen(f"{ledger.address}/api/v1/runs") as answer:
        runs = json.load(answer)["items"]
    ids = [item["id"] for item in items]
    return {
        "front": "/",
        "catalogue": "/appliances",
        "appliance": f"/appliances/{ids[0]}-x",
        "run": f"/runs/{runs[0]['id']}",
        "side-by-side": "/side-by-side?" + "&".join(f"appliance={one}" for one in ids),
        "picker": "/side-by-side",
        "send": "/send",
        "methods": "/methods",
        "safety": "/safety",
        "data-licence": "/data-licence",
        "sign-in": "/sign-in",
        "ranked": "/appliances?category=wet%2Fdry+vacuum&sort=shaft_power_max_steady",
        "missing": "/nothing-here",
    }


def axe_faults(page: Page) -> list[str]:
    found = Axe().run(page).response["violations"]
    return [f"{one['id']}: {[n['html'][:120] for n in one['nodes'][:3]]}" for one in found]


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "missing"])
@pytest.mark.parametrize(("width", "is_dark"), [(1280, False), (390, True)])
def test_no_fault_of_access(
    open_page: Callable[..., Page], paths: dict[str, str], kind: str, width: int, is_dark: bool
) -> None:
    page = open_page(paths[kind], width=width, is_dark=is_dark)
    assert axe_faults(page) == []


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "missing"])
def test_nothing_overflows_and_no_text_is_small(
    open_page: Callable[..., Page], paths: dict[str, str], kind: str
) -> None:
    page = open_page(paths[kind], width=360)
    for width in (360, 390, 700, 800, 1000, 1280):
        page.set_viewport_size({"width": width, "height": 844})
        assert page.evaluate("document.documentElement.scrollWidth") <= width
        assert page.evaluate(SMALL_TEXT) == []


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "missing"])
def test_a_finger_hits_what_it_aims_at(
    open_page: Callable[..., Page], paths: dict[str, str], kind: str
) -> None:
    page = open_page(paths[kind], width=390, has_touch=True)
    page.evaluate("document.querySelectorAll('details').forEach(one => { one.open = true; })")
    assert page.evaluate(SMALL_TARGETS) == []


@pytest.mark.parametrize("kind", WITH_CHARTS)
@pytest.mark.parametrize("width", [1280, 390])
def test_a_chart_takes_the_place_of_its_picture_without_a_shift(
    open_page: Callable[..., Page], paths: dict[str, str], kind: str, width: int
) -> None:
    page = open_page("/safety", width=width)
    page.add_init_script(f"({SHIFT})()")
    fetched: list[str] = []
    page.on("request", lambda request: fetched.append(request.url))
    page.goto(paths[kind])
    figure = page.locator("figure[data-figure]").first
    assert figure.locator("svg:visible").count() == 1
    assert not any("plotly" in url for url in fetched)  # the picture stands without the library
    stage = figure.locator(".stage")
    before = stage.bounding_box()
    figure.locator("[data-explore]").click()
    figure.locator(".live .main-svg").first.wait_for()
    after = stage.bounding_box()
    assert before is not None
    assert after is not None
    assert abs(after["height"] - before["height"]) < 1
    drawn = figure.locator(".live .plot-container").bounding_box()
    assert drawn is not None
    assert drawn["height"] <= after["height"] + 1
    assert page.evaluate("window.shifted") < 0.02
    assert page.evaluate("document.documentElement.scrollWidth") <= width
    figure.locator("[data-explore]").click()
    assert figure.locator("svg.chart:visible").count() == 1


def test_a_chart_follows_the_colour_scheme(
    open_page: Callable[..., Page], paths: dict[str, str]
) -> None:
    page = open_page(paths["appliance"])
    figure = page.locator("figure[data-figure]").first
    figure.locator("[data-explore]").click()
    figure.locator(".live .main-svg").first.wait_for()
    paper = figure.locator(".live .main-svg").first
    expect(paper).to_have_css("background-color", "rgb(255, 255, 255)")
    page.emulate_media(color_scheme="dark")
    expect(paper).to_have_css("background-color", "rgb(17, 21, 26)")


@pytest.mark.parametrize("kind", [k for k in KINDS if k != "missing"])
def test_the_text_stands_without_scripts(
    open_page: Callable[..., Page], paths: dict[str, str], kind: str
) -> None:
    whole = open_page(paths[kind]).inner_text("main")
    bare = open_page(paths[kind], has_scripts=False).inner_text("main")
    assert len(bare) >= 0.95 * len(whole.replace("Explore this chart", ""))


def test_a_missing_page_is_told_as_a_page(open_page: Callable[..., Page], ledger: Ledger) -> None:
    page = open_page("/safety")
    answer = page.request.get(f"{ledger.address}/nothing-here", headers={"Accept": "text/html"})
    assert answer.status == 404
    page.set_content(answer.text())
    assert page.inner_text("h1") == "Nothing stands here"


@pytest.mark.parametrize(("kind", "limit_kb"), [("front", 30), ("appliance", 400), ("run", 400),
                                                ("side-by-side", 400)])  # fmt: skip
def test_what_a_page_weighs(
    open_page: Callable[..., Page], paths: dict[str, str], kind: str, limit_kb: int
) -> None:
    page = open_page("about:blank")
    session = page.context.new_cdp_session(page)
    session.send("Network.enable")
    weights: list[float] = []
    session.on("Network.loadingFinished", lambda e: weights.append(e["encodedDataLength"]))
    page.goto(paths[kind], wait_until="load")
    if kind != "front":
        page.locator("[data-explore]").first.click()
        page.locator(".live .main-svg").first.wait_for()
    page.wait_for_timeout(300)
    assert 0 < sum(weights) <= limit_kb * 1000


def test_the_skip_link_comes_first_and_is_seen(open_page: Callable[..., Page]) -> None:
    page = open_page("/")
    page.keyboard.press("Tab")
    assert page.evaluate("document.activeElement.className") == "skip"
    box = page.locator(".skip").bounding_box()
    assert box is not None
    assert box["y"] >= 0
    page.keyboard.press("Enter")
    page.wait_for_url("**/#main")
