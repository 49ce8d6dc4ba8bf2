"""Refusals as a page: what stands in the way and where to go on, with the true status."""

from dataclasses import dataclass

from fastapi import Request
from fastapi.responses import HTMLResponse

from server.pages.request import site_of
from server.pages.shapes import Head, Link
from server.pages.templating import render
from server.problems import ProblemReply
from server.sign_in import session_key

_LINKS = (
    Link("Front page", "/"),
    Link("All appliances", "/appliances"),
    Link("Send a run", "/send"),
)
_TITLES = {404: "Nothing stands here", 500: "Something went wrong here"}


@dataclass(frozen=True, slots=True)
class ProblemPage:
    head: Head
    title: str
    detail: str
    problems: tuple[str, ...]
    links: tuple[Link, ...]


def render_problem(request: Request, problem: ProblemReply) -> HTMLResponse:
    """The page of one refusal. Its tester is not looked up: the store may be what failed."""
    title = _TITLES.get(problem.status, problem.title)
    detail = "" if problem.problems else problem.detail
    if problem.status == 404:
        detail = f"{detail} Addresses of withdrawn runs end here too.".strip()
    page = ProblemPage(
        head=Head(
            title=title,
            description=problem.title,
            path=request.url.path,
            is_indexed=False,
        ),
        title=title,
        detail=detail,
        problems=tuple(str(one) for one in problem.problems),
        links=_LINKS,
    )
    site = site_of(request, is_unsure=session_key(request) is not None)
    return render(request, "problem.html", page, status=problem.status, site=site)
