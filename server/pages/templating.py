"""From a context to an answer: one environment, autoescape always on, strict about names."""

from dataclasses import dataclass
from pathlib import Path
from typing import Protocol

from fastapi import Request
from fastapi.responses import HTMLResponse
from jinja2 import Environment, FileSystemLoader, StrictUndefined

from server.model.people import MAINTAIN
from server.model.views import Tester
from server.pages.shapes import Head
from server.static_files import static_url

TEMPLATES = Path(__file__).parents[2] / "web" / "templates"


class Context(Protocol):
    """What every context has: the head of its page. The rest is its template's own."""

    @property
    def head(self) -> Head: ...


@dataclass(frozen=True, slots=True)
class NavLink:
    section: str
    text: str
    href: str


NAV = (
    NavLink("appliances", "Appliances", "/appliances"),
    NavLink("side-by-side", "Side by side", "/side-by-side"),
    NavLink("methods", "Methods", "/methods"),
    NavLink("safety", "Safety", "/safety"),
)


DESK = NavLink("desk", "Desk", "/desk")


def nav_for(viewer: Tester | None) -> tuple[NavLink, ...]:
    """The main navigation; who may decide on runs has the desk in it."""
    may_decide = viewer is not None and MAINTAIN in viewer.scopes
    return (*NAV, DESK) if may_decide else NAV


@dataclass(frozen=True, slots=True)
class Site:
    """What a template needs to know of the request: who asks, from where, and the two tokens."""

    origin: str
    nonce: str
    tester_name: str | None
    csrf_token: str
    nav: tuple[NavLink, ...] = NAV
    # Somebody may be signed in; the page did not look.
    is_unsure: bool = False

    def static(self, path: str) -> str:
        return static_url(path)


def make_environment() -> Environment:
    return Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )


ENVIRONMENT = make_environment()


def render_text(template: str, *, page: Context, site: Site) -> str:
    return ENVIRONMENT.get_template(template).render(page=page, site=site)


def render(
    request: Request, template: str, page: Context, *, status: int = 200, site: Site
) -> HTMLResponse:
    """The page as an answer. A page that shows who is signed in is never kept by a shared cache."""
    return HTMLResponse(render_text(template, page=page, site=site), status_code=status)
