"""Signing up, and confirming an address. The same words and time whether or not it is known."""

from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.confirm_email import confirm_email, read_confirmation
from server.actions.sign_up import CONFIRM_HOURS, SignedUp, ask_to_confirm, read_who, sign_up
from server.dependencies import ReadSession, Viewer, WriteSession
from server.dependencies.forms import Fields
from server.dependencies.letters import send_after, site_origin
from server.dependencies.limits import Limited
from server.dependencies.passwords import CountedSignUp, NewPasswordField
from server.errors import InvalidInput
from server.mail import letters
from server.model.people import Role
from server.model.views import Tester
from server.pages.account_answers import answer, refused, to
from server.pages.account_shapes import (
    NEW_PASSWORD,
    Field,
    FormShown,
    FormsPage,
    all_shown,
    head_of,
    shown,
)
from server.pages.shapes import Link
from server.sign_in import check_form, check_same_site, safe_next, session_key, start_session
from server.store.accounts import account_by_id

router = APIRouter()


def sign_up_page(
    *, name: str = "", email: str = "", next_address: str = "/", problems: tuple[str, ...] = ()
) -> FormsPage:
    return FormsPage(
        head=head_of("Sign up", "/sign-up", "An account to send runs of your own."),
        lead=(
            "An account sends runs for review, in your name. Reading needs none, and what you "
            "tried without one comes along.",
        ),
        problems=problems,
        forms=(
            FormShown(
                action="/sign-up",
                button="Sign up",
                fields=(
                    Field(
                        "name",
                        "Name",
                        value=name,
                        autocomplete="nickname",
                        help="Shown beside your runs. It need not be your own.",
                    ),
                    Field(
                        "email",
                        "E-mail address",
                        kind="email",
                        value=email,
                        autocomplete="username",
                        help="Never shown to readers. A letter with a link goes there.",
                    ),
                    NEW_PASSWORD,
                ),
                hidden=(("next", next_address),),
            ),
        ),
        links=(
            Link("Sign in instead", f"/sign-in?next={quote(next_address, safe='')}"),
            Link("What is kept about you, and why", "/privacy"),
        ),
    )


@router.get("/sign-up")
def show_sign_up(request: Request, viewer: Viewer) -> Response:
    if viewer is not None and not _may_sign_up(viewer):
        return to("/account")
    page = sign_up_page(next_address=safe_next(request.query_params.get("next")))
    return answer(request, page, viewer=viewer)


def _may_sign_up(viewer: Tester) -> bool:
    return viewer.role in {Role.VISITOR, Role.READER}


@router.post("/sign-up", dependencies=[Limited("sign_up")])
def do_sign_up(
    request: Request,
    viewer: Viewer,
    fields: Fields,
    _counted: CountedSignUp,
    password: NewPasswordField,
    session: WriteSession,
) -> Response:
    _check(request, fields.get("csrf_token"))
    name, next_address = fields.get("name", ""), safe_next(fields.get("next"))
    email = fields.get("email", "")
    problems: list[str] = []
    try:
        name, email = read_who(name=name, email=email)
    except InvalidInput as refusal:
        problems += all_shown(refusal)
    if password.problem is not None:
        problems.append(shown(password.problem))
    if problems or password.hash is None:
        page = sign_up_page(
            name=name, email=email, next_address=next_address, problems=tuple(problems)
        )
        return refused(request, page, viewer=viewer)
    done = sign_up(
        session,
        name=name,
        email=email,
        password_hash=password.hash,
        tester_id=viewer.id if viewer is not None else None,
        next_address=next_address if next_address != "/" else "/account",
    )
    response = to("/sign-up/letter")
    start_session(request, response, session, tester_id=done.tester_id)
    _send(request, response, done)
    return response


def _check(request: Request, csrf_token: str | None) -> None:
    """Who has a session sends its form token; who has none yet comes from this site at least."""
    if session_key(request) is not None:
        check_form(request, csrf_token)
    else:
        check_same_site(request)


def _send(request: Request, response: Response, done: SignedUp) -> None:
    origin = site_origin(request)
    letter = (
        letters.known_already(origin=origin, to=done.email)
        if done.is_known
        else letters.confirm_email(
            origin=origin, to=done.email, secret=done.secret, hours=CONFIRM_HOURS
        )
    )
    send_after(request, response, letter)


@router.get("/sign-up/letter")
def show_letter(request: Request, viewer: Viewer, session: ReadSession) -> Response:
    """Where signing up leads: which mailbox to look into, and what to do if nothing comes."""
    if viewer is None or viewer.role is not Role.READER:
        return to("/account" if viewer is not None and not viewer.is_visitor else "/sign-in")
    account = account_by_id(session, tester_id=viewer.id)
    if account.asked_email is None:
        return to("/sign-up")
    page = FormsPage(
        head=head_of("Look into your mailbox", "/sign-up/letter"),
        told=("A letter is on its way again." if request.query_params.get("told") else None),
        lead=(
            f"A letter is on its way to {account.asked_email}. Its link opens a page with one "
            "button, which confirms the address; from then on you can send runs for review.",
            "It can take a minute, and may lie among unwanted mail. Until then drafts are kept "
            "and show their figures.",
        ),
        forms=(FormShown("/sign-up/again", "Send it again", is_main=False),),
        links=(
            Link("Another address: sign up again", "/sign-up"),
            Link("Back to your drafts", "/send"),
        ),
    )
    return answer(request, page, viewer=viewer)


@router.post("/sign-up/again", dependencies=[Limited("sign_up")])
def send_again(
    request: Request,
    viewer: Viewer,
    session: WriteSession,
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    if viewer is None or viewer.role is not Role.READER:
        return to("/sign-in")
    account = account_by_id(session, tester_id=viewer.id)
    if account.asked_email is None:
        return to("/sign-up")
    done = ask_to_confirm(session, tester_id=viewer.id, email=account.asked_email)
    response = to("/sign-up/letter?told=sent")
    _send(request, response, done)
    return response


@router.get("/confirm")
def show_confirm(request: Request, viewer: Viewer, session: ReadSession, secret: str) -> Response:
    """What the link of a letter opens. It changes nothing: mail programs open links too."""
    found = read_confirmation(session, secret=secret)
    page = FormsPage(
        head=head_of("Confirm your address", "/confirm"),
        lead=(
            f"{found.email} becomes the address of the account “{found.name}”.",
            "If you did not ask for this, close the page: nothing has been done.",
        ),
        forms=(FormShown("/confirm", "Confirm this address", hidden=(("secret", secret),)),),
    )
    return answer(request, page, viewer=viewer)


@router.post("/confirm")
def do_confirm(
    request: Request,
    viewer: Viewer,
    session: WriteSession,
    secret: Annotated[str, Form()] = "",
) -> Response:
    check_same_site(request)
    done = confirm_email(session, secret=secret)
    if viewer is not None and viewer.id == done.tester_id:
        is_home = done.next_address == "/account"
        response = to("/account?told=email" if is_home else done.next_address)
    else:
        response = to(f"/sign-in?told=email&next={quote(done.next_address, safe='')}")
    if done.old_email is not None:
        letter = letters.email_changed(origin=site_origin(request), to=done.old_email)
        send_after(request, response, letter)
    return response
