"""Approving `benchledger login` in the browser."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.command_sign_in import (
    TOKEN_DAYS,
    decide_command_sign_in,
    read_command_sign_in,
)
from server.dependencies import Proved, ReadSession, WriteSession
from server.dependencies.limits import Limited
from server.pages.account_answers import answer, to
from server.pages.account_shapes import FormShown, FormsPage, head_of
from server.pages.shapes import Link
from server.sign_in import check_form
from server.wording.counts import show_moment

router = APIRouter()
PLACE = "/account/command"
HOME = Link("Back to your account", "/account")


@router.get(PLACE, dependencies=[Limited("sign_in")])
def show_command(
    request: Request, tester: Proved, session: ReadSession, code: str, told: str = ""
) -> Response:
    if told in {"approved", "refused"}:
        words = "is signed in; go back to it" if told == "approved" else "was refused"
        page = FormsPage(
            head=head_of("Sign in the command", PLACE), told=f"The command {words}.", links=(HOME,)
        )
        return answer(request, page, viewer=tester)
    asked = read_command_sign_in(session, code=code)
    where = f"“{asked.where}”" if asked.where else "a machine that gave no name"
    hidden = (("code", code[:20]),)
    page = FormsPage(
        head=head_of("Sign in the command", PLACE),
        lead=(
            f"A command on {where}, at the network address {asked.address}, asked at "
            f"{show_moment(asked.at)} to send runs in your name for {TOKEN_DAYS:.0f} days.",
            "Approve it only if you have just started benchledger login yourself, and it shows "
            "this code:",
        ),
        codes=(asked.code.upper(),),
        forms=(
            FormShown(f"{PLACE}/approve", "It shows this code: approve", hidden=hidden),
            FormShown(f"{PLACE}/refuse", "Refuse it", hidden=hidden, is_main=False),
        ),
        links=(HOME,),
    )
    return answer(request, page, viewer=tester)


@router.post(f"{PLACE}/approve")
def approve(
    request: Request,
    tester: Proved,
    session: WriteSession,
    code: Annotated[str, Form()] = "",
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    decide_command_sign_in(session, code=code, tester=tester, is_approved=True)
    return to(f"{PLACE}?code=&told=approved")


@router.post(f"{PLACE}/refuse")
def refuse(
    request: Request,
    tester: Proved,
    session: WriteSession,
    code: Annotated[str, Form()] = "",
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    decide_command_sign_in(session, code=code, tester=tester, is_approved=False)
    return to(f"{PLACE}?code=&told=refused")
