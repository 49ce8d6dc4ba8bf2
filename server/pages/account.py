"""The tester's own runs."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.dependencies import ReadSession, Signed
from server.model.views import DraftView, Page, RunRow, Tester
from server.pages.request import site_of
from server.pages.rows import show_runs
from server.pages.send_pages import show_draft
from server.pages.send_shapes import DraftShown
from server.pages.shapes import Head, RunShown
from server.pages.templating import render
from server.store.drafts import list_drafts
from server.store.runs import list_runs

router = APIRouter()


@dataclass(frozen=True, slots=True)
class MyRunsPage:
    head: Head
    tester: str
    drafts: tuple[DraftShown, ...]
    runs: tuple[RunShown, ...]
    next_href: str | None


def my_runs_page(
    tester: Tester, *, runs: Page[RunRow], drafts: tuple[DraftView, ...]
) -> MyRunsPage:
    return MyRunsPage(
        head=Head(
            title="My runs",
            description="The runs that you sent, and where each stands.",
            path="/my-runs",
            is_indexed=False,
        ),
        tester=tester.name,
        drafts=tuple(show_draft(draft) for draft in drafts),
        runs=show_runs(runs.items),
        next_href=f"/my-runs?cursor={runs.next}" if runs.next else None,
    )


@router.get("/my-runs")
def my_runs(request: Request, session: ReadSession, tester: Signed) -> Response:
    cursor = request.query_params.get("cursor") or None
    page = my_runs_page(
        tester,
        runs=list_runs(session, viewer=tester, tester_id=tester.public_id, cursor=cursor, limit=50),
        drafts=list_drafts(session, tester=tester),
    )
    return render(request, "my_runs.html", page, site=site_of(request, tester))
