"""HTML as a parser sees it, and what must hold of every page."""

import re
from itertools import pairwise

from bs4 import BeautifulSoup


def parsed(html: str, *, has_scripts: bool = False) -> BeautifulSoup:
    """The page as read without scripts: every script element is taken out first."""
    soup = BeautifulSoup(html, "html.parser")
    if not has_scripts:
        for script in soup.find_all("script"):
            script.decompose()
    return soup


def text_of(soup: BeautifulSoup, place: str = "main") -> str:
    found = soup.select_one(place)
    assert found is not None, place
    return re.sub(r"[ \t\n]+", " ", found.get_text(" "))


def problems_of(html: str) -> list[str]:
    """What breaks the rules that every page keeps."""
    soup = parsed(html, has_scripts=True)
    return [
        *_order_of_headings(soup),
        *_names(soup),
        *_nothing_inline(soup),
        *_tables(soup),
    ]


def _order_of_headings(soup: BeautifulSoup) -> list[str]:
    levels = [int(h.name[1]) for h in soup.select("main h1, main h2, main h3, main h4")]
    found = [] if levels.count(1) == 1 else [f"{levels.count(1)} main headings"]
    if levels and levels[0] != 1:
        found.append("the first heading is not the main one")
    found += [
        f"a heading of level {b} follows one of level {a}" for a, b in pairwise(levels) if b > a + 1
    ]
    return found


def _names(soup: BeautifulSoup) -> list[str]:
    ids = [tag["id"] for tag in soup.select("[id]")]
    found = [f"id {one} stands twice" for one in {i for i in ids if ids.count(i) > 1}]
    for attribute in ("aria-labelledby", "aria-describedby", "for"):
        for tag in soup.select(f"[{attribute}]"):
            missing = [one for one in str(tag[attribute]).split() if one not in ids]
            found += [f"{attribute} names {one}, which is nowhere" for one in missing]
    for control in soup.select("input:not([type=hidden]), select, textarea"):
        is_named = (
            control.get("aria-label")
            or control.find_parent("label")
            or soup.select_one(f'label[for="{control.get("id")}"]')
        )
        if not is_named:
            found.append(f"the control {control.get('name')} has no label")
    return found


def _nothing_inline(soup: BeautifulSoup) -> list[str]:
    found = []
    for tag in soup.find_all(True):
        found += [f"<{tag.name} {name}>" for name in tag.attrs if name.startswith("on")]
        if "style" in tag.attrs:
            found.append(f"<{tag.name}> has a style of its own")
    for script in soup.find_all("script"):
        is_data = script.get("type") == "application/json"
        if not is_data and (script.string or not script.get("src")):
            found.append("a script stands in the page")
    return found + ["a style sheet stands in the page" for _ in soup.select("style")]


def _tables(soup: BeautifulSoup) -> list[str]:
    found = []
    for table in soup.find_all("table"):
        widths = {
            sum(int(cell.get("colspan", 1)) for cell in row.find_all(["th", "td"]))
            for row in table.find_all("tr")
        }
        if len(widths) > 1:
            found.append(f"rows of {sorted(widths)} cells in one table")
        if not table.find_parent(class_="frame"):
            found.append("a table without a frame of its own")
    return found
