"""The methods pages, made from docs/methods/*.md. Markdown only: HTML in it is shown, not run."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from itertools import pairwise
from pathlib import Path
from typing import TYPE_CHECKING

from server.errors import NotFound
from server.model.methods import METHOD_VERSIONS
from server.pages.shapes import Head, Link

if TYPE_CHECKING:
    from markdown_it.token import Token

DOCS = Path(__file__).parents[2] / "docs"
FOLDER = DOCS / "methods"
_LINK = re.compile(r"\[([^\]]+)\]\([^)]*\)")


@dataclass(frozen=True, slots=True)
class MethodShown:
    name: str
    href: str
    title: str
    first: str
    body: str


@dataclass(frozen=True, slots=True)
class MethodsPage:
    head: Head
    methods: tuple[MethodShown, ...]
    versions: str


@dataclass(frozen=True, slots=True)
class MethodPage:
    head: Head
    crumb: Link | None
    body: str
    others: tuple[Link, ...]


@cache
def all_methods() -> tuple[MethodShown, ...]:
    """Every method page, in the order of their file names. Read once a process."""
    return tuple(_read(path) for path in sorted(FOLDER.glob("*.md")) if path.stem != "README")


def _read(path: Path) -> MethodShown:
    from markdown_it import MarkdownIt

    text = path.read_text(encoding="utf-8")
    parser = MarkdownIt("commonmark", {"html": False}).enable(["table", "strikethrough"])
    tokens = parser.parse(text)
    title, first = path.stem.replace("-", " "), ""
    for before, token in pairwise(tokens):
        if before.type == "heading_open" and before.tag == "h1":
            title = _plain(token.content)
        elif before.type == "paragraph_open" and not first and not _is_version(token.content):
            first = _plain(token.content).split(". ")[0].rstrip(".") + "."
    _lead_links(tokens)
    body = parser.renderer.render(tokens, parser.options, {})
    return MethodShown(path.stem, f"/methods/{path.stem}", title, first, _framed(body))


def _lead_links(tokens: "Sequence[Token]") -> None:
    """Links between the files of the folder become links between the pages."""
    for token in tokens:
        for child in token.children or ():
            href = str(child.attrs.get("href", "")) if child.type == "link_open" else ""
            stem, _, anchor = href.partition("#")
            if stem.endswith(".md") and (FOLDER / stem).is_file():
                page = f"/methods/{Path(stem).stem}"
                child.attrs["href"] = f"{page}#{anchor}" if anchor else page


def method_links(*wanted: tuple[str, str]) -> tuple[Link, ...]:
    """Links to method pages, (name, text) each, as far as they are written."""
    known = {method.name: method.href for method in all_methods()}
    return tuple(Link(text, known[name]) for name, text in wanted if name in known)


def _is_version(paragraph: str) -> bool:
    """Whether a paragraph says which method it is, which tells nobody what it is about."""
    return paragraph.startswith("Method `")


def _plain(markdown: str) -> str:
    text = _LINK.sub(r"\1", markdown)
    return " ".join(text.replace("`", "").replace("**", "").split())


def _framed(body: str) -> str:
    """Wide things scroll inside their own frame, which the keyboard can reach."""
    before, *tables = body.split("<table>")
    framed = [
        f'<div class="frame" tabindex="0" role="region" aria-label="Table {number}"><table>'
        + table.replace("</table>", "</table></div>", 1)
        for number, table in enumerate(tables, start=1)
    ]
    body = before + "".join(framed)
    return body.replace("<pre>", '<pre tabindex="0">')


def methods_page() -> MethodsPage:
    return MethodsPage(
        head=Head(
            title="Methods",
            description="How a run becomes a figure: formulas, assumptions, limits, sources.",
            path="/methods",
            section="methods",
        ),
        methods=all_methods(),
        versions=", ".join(METHOD_VERSIONS.values()),
    )


def method_page(name: str) -> MethodPage:
    """Raises NotFound for a name without a page."""
    found = next((method for method in all_methods() if method.name == name), None)
    if found is None:
        raise NotFound(f"There is no method page “{name}”.")
    return MethodPage(
        head=Head(
            title=found.title,
            description=found.first or f"The method “{found.title}”.",
            path=found.href,
            section="methods",
            kind="article",
        ),
        crumb=Link("Methods", "/methods"),
        body=found.body,
        others=tuple(Link(m.title, m.href) for m in all_methods() if m is not found),
    )


@cache
def api_page() -> MethodPage:
    """The API in words, from docs/api.md."""
    shown = _read(DOCS / "api.md")
    return MethodPage(
        head=Head(title=shown.title, description=shown.first, path="/api-guide", kind="article"),
        crumb=None,
        body=shown.body,
        others=(Link("The API’s description as OpenAPI", "/api/v1/openapi.json"),),
    )
