"""Signing in with a token, signing out, and the tester's own runs."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import RedirectResponse, Response

from server.dependencies import ReadSession, Signed, Viewer, WriteSession
from server.errors import SignInNeeded
from server.model.views import DraftView, Page, RunRow, Tester
from server.pages.request import site_of
from server.pages.rows import show_runs
from server.pages.send_pages import show_draft
from server.pages.send_shapes import DraftShown
from server.pages.shapes import Head, RunShown
from server.pages.templating import render
from server.sign_in import (
    check_form,
    check_same_site,
    end_session,
    safe_next,
    start_session_with_token,
)
from server.store.drafts import list_drafts
from server.store.runs import list_runs

router = APIRouter()


@dataclass(frozen=True, slots=True)
class SignInPage:
    head: Head
    next: str
    problems: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class MyRunsPage:
    head: Head
    tester: str
    drafts: tuple[DraftShown, ...]
    runs: tuple[RunShown, ...]
    next_href: str | None


def sign_in_page(next_address: str, problems: tuple[str, ...] = ()) -> SignInPage:
    return SignInPage(
        head=Head(
            title="Sign in",
            description="Sign in with a token to send runs.",
            path="/sign-in",
            is_indexed=False,
        ),
        next=next_address,
        problems=problems,
    )


@router.get("/sign-in")
def show_sign_in(request: Request, viewer: Viewer) -> Response:
    page = sign_in_page(safe_next(request.query_params.get("next")))
    return render(request, "sign_in.html", page, site=site_of(request, viewer))


@router.post("/sign-in")
def sign_in(
    request: Request,
    session: WriteSession,
    token: Annotated[str, Form()] = "",
    next_address: Annotated[str, Form(alias="next")] = "/",
) -> Response:
    check_same_site(request)
    target = safe_next(next_address)
    response = RedirectResponse(target, status_code=303)
    try:
        start_session_with_token(request, response, session, token=token.strip())
    except SignInNeeded as refusal:
        page = sign_in_page(target, (str(refusal),))
        return render(request, "sign_in.html", page, status=422, site=site_of(request))
    return response


@router.post("/sign-out")
def sign_out(
    request: Request, session: WriteSession, csrf_token: Annotated[str, Form()] = ""
) -> Response:
    check_form(request, csrf_token)
    response = RedirectResponse("/", status_code=303)
    end_session(request, response, session)
    return response


def my_runs_page(
    tester: Tester, *, runs: Page[RunRow], drafts: tuple[DraftView, ...]
) -> MyRunsPage:
    return MyRunsPage(
        head=Head(
            title="My runs",
            description="Runs sent with this token.",
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
