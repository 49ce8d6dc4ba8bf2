"""One's own data: taken along as one file, or the account deleted."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.erase_account import erase_account
from server.actions.export_account import export_account
from server.dependencies import Proved, ReadSession, Signed, WriteSession
from server.dependencies.letters import send_after
from server.dependencies.limits import Limited
from server.mail import Letter
from server.model.views import Tester
from server.pages.account_answers import answer, refused, to
from server.pages.account_shapes import Field, FormShown, FormsPage, head_of
from server.pages.shapes import Link
from server.settings import Settings
from server.sign_in import check_form, end_session
from server.store.accounts import account_by_id
from server.store.erasures import note_erasure
from server.store.journal import now

router = APIRouter()
WORD = "delete"


def data_page(tester: Tester, problems: tuple[str, ...] = ()) -> FormsPage:
    typed = Field("typed", f"Type the word {WORD} to be sure", help="Small letters, nothing else.")
    return FormsPage(
        head=head_of("Your data", "/account/data"),
        problems=problems,
        forms=(
            FormShown(
                "/account/data/export",
                "Download all of it",
                title="Take it along",
                note="One JSON file: account, sign-ins, tokens without their secrets, drafts, "
                "runs, rigs, what you wrote, and what the journal says about you.",
            ),
            FormShown(
                "/account/data/delete",
                "Delete the account",
                fields=(typed,),
                title="Delete the account",
                note="Your name, address, password, passkeys, tokens, sign-ins, drafts and the "
                "words you wrote are erased, at once and for good. Your runs stay, by “a former "
                "tester”, with their figures and files.",
                is_main=False,
            ),
        ),
        links=(
            Link("What is kept, and why", "/privacy"),
            Link("Back to your account", "/account"),
        ),
    )


@router.get("/account/data")
def show_data(request: Request, tester: Signed) -> Response:
    return answer(request, data_page(tester), viewer=tester)


@router.post("/account/data/export", dependencies=[Limited("download")])
def export(
    request: Request,
    tester: Proved,
    session: ReadSession,
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    return Response(
        export_account(session, tester=tester),
        media_type="application/json",
        headers={
            "Content-Disposition": 'attachment; filename="benchledger-account.json"',
            "Cache-Control": "no-store",
        },
    )


@router.post("/account/data/delete")
def delete(
    request: Request,
    tester: Proved,
    session: WriteSession,
    typed: Annotated[str, Form()] = "",
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    if typed.strip() != WORD:
        problem = f"Nothing was deleted: the word {WORD} was not typed."
        return refused(request, data_page(tester, (problem,)), viewer=tester)
    email = account_by_id(session, tester_id=tester.id).email
    settings: Settings = request.app.state.settings
    response = to("/sign-in?told=erased")
    erase_account(session, tester_id=tester.id)
    end_session(request, response, session)
    note_erasure(settings.data, public_id=tester.public_id, at=now())
    if email is not None:
        text = "Your account was deleted, as you asked. This address is not written to again.\n"
        send_after(request, response, Letter(email, "Your account was deleted · Benchledger", text))
    return response
