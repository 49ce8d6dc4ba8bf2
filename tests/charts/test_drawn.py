"""The pictures as Chromium draws them: no words over one another, cut off or too small."""

from collections.abc import Iterator

import pytest
from playwright.sync_api import Browser, Page

from server.charts import CHART_CSS, figure_svg
from server.charts.palette import custom_properties
from tests.charts.test_svg import FIGURES

pytestmark = pytest.mark.browser
WORDS = """() => [...document.querySelectorAll('svg')].map(svg => {
  const frame = svg.getBoundingClientRect();
  return {
    name: svg.dataset.name, width: frame.width, height: frame.height,
    words: [...svg.querySelectorAll('text')].map(text => {
      const box = text.getBoundingClientRect();
      return {
        text: text.textContent, size: parseFloat(getComputedStyle(text).fontSize),
        left: box.left - frame.left, right: box.right - frame.left,
        top: box.top - frame.top, bottom: box.bottom - frame.top,
      };
    }),
  };
})"""


@pytest.fixture(scope="module")
def drawing_page(browser: Browser) -> Iterator[Page]:
    page = browser.new_page(viewport={"width": 1200, "height": 900})
    yield page
    page.close()


def drawn(page, width):
    pictures = "".join(
        figure_svg(spec, width).replace("<svg ", f'<svg data-name="{name}" ', 1)
        for name, spec in FIGURES.items()
    )
    style = f":root{{{custom_properties(dark=False)}}}body{{font-family:system-ui,sans-serif}}"
    page.set_content(f"<meta charset=utf-8><style>{style}{CHART_CSS}</style>{pictures}")
    return page.evaluate(WORDS)


@pytest.mark.parametrize("width", [1080, 696, 358, 328])
def test_words_fit_and_do_not_meet(drawing_page, width):
    faults = []
    for picture in drawn(drawing_page, width):
        words = picture["words"]
        for i, a in enumerate(words):
            if a["left"] < -1.5 or a["right"] > picture["width"] + 1.5:
                faults.append((picture["name"], "cut off", a["text"]))
            if a["bottom"] > picture["height"] + 1:
                faults.append((picture["name"], "below the picture", a["text"]))
            if a["size"] < 12:
                faults.append((picture["name"], "too small", a["text"]))
            for b in words[i + 1 :]:
                across = min(a["right"], b["right"]) - max(a["left"], b["left"])
                down = min(a["bottom"], b["bottom"]) - max(a["top"], b["top"])
                if across > 0.5 and down > 3:
                    faults.append((picture["name"], a["text"], b["text"]))
    assert faults == []


@pytest.mark.parametrize("width", [1080, 358])
def test_every_picture_has_words(drawing_page, width):
    assert {p["name"] for p in drawn(drawing_page, width) if p["words"]} == set(FIGURES)
