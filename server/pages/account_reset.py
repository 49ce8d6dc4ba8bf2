"""A forgotten password: a letter, whether or not the address is known, and a page for a new one."""

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.actions.change_password import RESET_MINUTES, ask_reset, check_reset, reset_password
from server.actions.sign_up import find_known
from server.dependencies import ReadSession, Viewer, WriteSession
from server.dependencies.forms import Fields
from server.dependencies.letters import send_after, site_origin
from server.dependencies.limits import Limited
from server.dependencies.passwords import CountedReset, NewPasswordField
from server.errors import InvalidInput
from server.mail import letters
from server.pages.account_answers import answer, refused, to
from server.pages.account_shapes import (
    EMAIL,
    NEW_PASSWORD,
    FormShown,
    FormsPage,
    all_shown,
    head_of,
    shown,
)
from server.pages.shapes import Link
from server.sign_in import check_same_site
from server.store.accounts import account_by_id

router = APIRouter()


def reset_page(problems: tuple[str, ...] = ()) -> FormsPage:
    return FormsPage(
        head=head_of("Forgotten the password", "/reset"),
        lead=("A letter with a link goes to your address; the link leads to a new password.",),
        problems=problems,
        forms=(FormShown("/reset", "Send the letter", fields=(EMAIL,)),),
        links=(Link("Sign in", "/sign-in"),),
    )


@router.get("/reset")
def show_reset(request: Request, viewer: Viewer) -> Response:
    return answer(request, reset_page(), viewer=viewer)


@router.post("/reset", dependencies=[Limited("reset")])
def do_reset(
    request: Request,
    viewer: Viewer,
    fields: Fields,
    _counted: CountedReset,
    session: WriteSession,
) -> Response:
    """The same answer for every address; the letter says what is the case."""
    check_same_site(request)
    try:
        email, known = find_known(session, email=fields.get("email", ""))
    except InvalidInput as refusal:
        return refused(request, reset_page(all_shown(refusal)), viewer=viewer)
    origin = site_origin(request)
    page = FormsPage(
        head=head_of("Look into your mailbox", "/reset"),
        lead=(
            f"A letter is on its way to {email}. Its link is good for {RESET_MINUTES} minutes.",
            "It can take a minute, and may lie among unwanted mail.",
        ),
        forms=(FormShown("/reset", "Send it again", hidden=(("email", email),), is_main=False),),
        links=(Link("Sign in", "/sign-in"),),
    )
    response = answer(request, page, viewer=viewer)
    secret = ask_reset(session, tester_id=known.tester_id if known is not None else None)
    if known is None:
        letter = letters.no_account(origin=origin, to=email)
    else:
        letter = letters.reset_password(
            origin=origin,
            to=known.email,
            secret=secret,
            minutes=RESET_MINUTES,
        )
    send_after(request, response, letter)
    return response


def new_password_page(secret: str, problems: tuple[str, ...] = ()) -> FormsPage:
    return FormsPage(
        head=head_of("Set a new password", "/reset/password"),
        lead=("Every sign-in of your account ends with it; you sign in anew.",),
        problems=problems,
        forms=(
            FormShown(
                "/reset/password",
                "Set the password",
                fields=(NEW_PASSWORD,),
                hidden=(("secret", secret),),
            ),
        ),
    )


@router.get("/reset/password")
def show_new_password(
    request: Request, viewer: Viewer, session: ReadSession, secret: str
) -> Response:
    check_reset(session, secret=secret)
    return answer(request, new_password_page(secret), viewer=viewer)


@router.post("/reset/password", dependencies=[Limited("reset")])
def set_new_password(
    request: Request,
    viewer: Viewer,
    fields: Fields,
    password: NewPasswordField,
    session: WriteSession,
) -> Response:
    check_same_site(request)
    secret = fields.get("secret", "")
    if password.problem is not None or password.hash is None:
        check_reset(session, secret=secret)
        problems = (shown(password.problem),) if password.problem else ()
        return refused(request, new_password_page(secret, problems), viewer=viewer)
    tester_id = reset_password(session, secret=secret, password_hash=password.hash)
    account = account_by_id(session, tester_id=tester_id)
    response = to("/sign-in?told=reset")
    if account.email is not None:
        letter = letters.sign_in_changed(
            origin=site_origin(request),
            to=account.email,
            what="A new password was set with a link from a letter.",
        )
        send_after(request, response, letter)
    return response
