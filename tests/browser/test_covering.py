"""Covering a part of a photograph, by drawing over it and by figures typed: what is left of it."""

from collections.abc import Callable, Iterator
from io import BytesIO
from pathlib import Path
from threading import Event, Thread

import pytest
from PIL import Image
from playwright.sync_api import Page, expect

from server.actions.sweep_files import sweep_files
from server.store.database import make_engine
from server.worker import run_worker
from tests.browser.conftest import Ledger
from tests.browser.test_pages import axe_faults
from tests.browser.test_sending import send_file, sign_in

pytestmark = pytest.mark.browser

SIZE = (1200, 900)
DRAWN = "Drawn anew, without place, camera or time."
PLATE = (230, 225, 210)


@pytest.fixture(scope="module", autouse=True)
def worker(ledger: Ledger) -> Iterator[None]:
    """Draws the photographs of the served ledger."""
    stop = Event()
    thread = Thread(target=run_worker, args=(ledger.settings, stop))
    thread.start()
    yield
    stop.set()
    thread.join(timeout=30)
    assert not thread.is_alive()


@pytest.fixture
def photograph(tmp_path: Path) -> Path:
    path = tmp_path / "plate.jpg"
    Image.new("RGB", SIZE, PLATE).save(path, quality=95)
    return path


def with_photograph(page: Page, ledger: Ledger, photograph: Path) -> Page:
    """The step of a new draft where its plate's photograph stands, drawn anew."""
    sign_in(page, ledger)
    send_file(page, ledger)
    page.goto(page.url.replace("/columns", "/appliance"))
    page.get_by_label("Take or choose one").set_input_files(photograph)
    page.get_by_role("button", name="Add the photograph").click()
    expect(page.locator("#photos img")).to_be_visible(timeout=20_000)
    expect(page.get_by_text(DRAWN, exact=True)).to_be_visible()
    return page


def touch_action(page: Page) -> str:
    style = page.locator("[data-cover]").evaluate("one => getComputedStyle(one).touchAction")
    assert isinstance(style, str)
    return style


def served(page: Page, size: str = "") -> bytes:
    href = page.locator("#photos img").get_attribute("src")
    answer = page.context.request.get(f"{href}{size}")
    assert answer.ok
    return answer.body()


def files_of(ledger: Ledger) -> list[bytes]:
    """Every file that the ledger keeps, once unused ones are swept."""
    engine = make_engine(ledger.settings)
    sweep_files(engine, files=ledger.settings.files, min_age_s=0.0)
    engine.dispose()
    return [path.read_bytes() for path in ledger.settings.files.rglob("*") if path.is_file()]


def check_black(picture: bytes, shares: tuple[float, float, float, float]) -> None:
    """Black within the shares (left, top, right, bottom), untouched outside them."""
    image = Image.open(BytesIO(picture)).convert("L")
    left, top, right, bottom = (round(share * image.size[i % 2]) for i, share in enumerate(shares))
    margin = 10
    inside = image.crop((left + margin, top + margin, right - margin, bottom - margin))
    assert inside.getextrema()[1] <= 8
    for box in (
        (0, 0, image.width, top - margin),
        (0, bottom + margin, image.width, image.height),
        (0, 0, left - margin, image.height),
        (right + margin, 0, image.width, image.height),
    ):
        assert image.crop(box).getextrema()[0] >= 150


def covered(page: Page, uncovered: bytes, press: Callable[[], None]) -> bytes:
    """Covers what is marked and waits until it is drawn; the picture served then."""
    with page.expect_navigation():
        press()
    expect(page.get_by_text(DRAWN, exact=True)).to_be_visible(timeout=20_000)
    now = served(page)
    assert now != uncovered
    return now


@pytest.mark.parametrize("width", [1280, 390])
def test_a_part_is_covered_by_drawing_over_it(
    open_page: Callable[..., Page], ledger: Ledger, photograph: Path, width: int
) -> None:
    page = with_photograph(open_page("/", width=width), ledger, photograph)
    uncovered, small = served(page), served(page, "?size=small")
    assert uncovered in files_of(ledger)
    place = page.locator("[data-cover]")
    assert touch_action(page) == "auto"  # a finger still scrolls over it
    place.scroll_into_view_if_needed()
    box = place.bounding_box()
    assert box is not None
    x, y, w, h = box["x"], box["y"], box["width"], box["height"]
    page.mouse.move(x + 0.25 * w, y + 0.5 * h)
    page.mouse.down()
    page.mouse.move(x + 0.5 * w, y + 0.6 * h, steps=4)
    page.mouse.move(x + 0.75 * w, y + 0.7 * h, steps=4)
    page.mouse.up()
    typed = [float(page.get_by_label(f"{name}, %").input_value()) for name in
             ("Left", "Top", "Right", "Bottom")]  # fmt: skip
    assert typed == pytest.approx([25, 50, 75, 70], abs=1)
    assert touch_action(page) == "none"
    assert axe_faults(page) == []
    cover = page.get_by_role("button", name="Cover this part")
    left, top, right, bottom = (one / 100 for one in typed)
    check_black(covered(page, uncovered, cover.click), (left, top, right, bottom))
    check_black(served(page, "?size=small"), (left, top, right, bottom))
    kept = files_of(ledger)
    assert uncovered not in kept
    assert small not in kept
    assert photograph.read_bytes() not in kept
    expect(page.locator(".covering")).to_be_hidden()


def test_a_part_is_covered_with_the_keyboard_alone(
    open_page: Callable[..., Page], ledger: Ledger, photograph: Path
) -> None:
    page = with_photograph(open_page("/"), ledger, photograph)
    uncovered = served(page)
    page.get_by_text("Cover a part of it").focus()
    page.keyboard.press("Enter")
    for typed in ("10", "20", "40", "35.5"):
        page.keyboard.press("Tab")
        page.keyboard.type(typed)
    # What is typed is shown on the picture before it is painted over.
    frame, place = (
        page.locator(".covering").bounding_box(),
        page.locator("[data-cover]").bounding_box(),
    )
    assert frame is not None
    assert place is not None
    assert (frame["x"] - place["x"]) / place["width"] == pytest.approx(0.1, abs=0.01)
    assert frame["height"] / place["height"] == pytest.approx(0.155, abs=0.01)
    page.keyboard.press("Tab")
    check_black(
        covered(page, uncovered, lambda: page.keyboard.press("Enter")), (0.1, 0.2, 0.4, 0.355)
    )
    assert uncovered not in files_of(ledger)
