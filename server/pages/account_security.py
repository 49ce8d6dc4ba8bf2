"""Changing what lets somebody in: address, password, passkeys, codes. Asked for again first."""

from dataclasses import replace

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.actions.change_password import change_password
from server.actions.confirm_email import ask_new_email
from server.actions.sign_up import CONFIRM_HOURS
from server.dependencies import Proved, ReadSession, WriteSession
from server.dependencies.forms import Fields
from server.dependencies.letters import send_after, site_origin
from server.dependencies.limits import Limited
from server.dependencies.passwords import CountedSignUp, NewPasswordField
from server.errors import InvalidInput
from server.mail import letters
from server.model.accounts import AccountView
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
from server.sign_in import check_form
from server.store.accounts import account_by_id

router = APIRouter()
HOME = Link("Back to your account", "/account")


def email_page(
    account: AccountView, *, email: str = "", problems: tuple[str, ...] = ()
) -> FormsPage:
    if account.email is None:
        lead = "Your account has no confirmed address yet. With one, you can send runs for review."
    else:
        lead = f"Your address is {account.email}. It stays until the new one is confirmed."
    field = Field(
        "email", "New e-mail address", kind="email", value=email, autocomplete="email",
        help="A letter with a link goes there; a notice goes to the old one.",
    )  # fmt: skip
    return FormsPage(
        head=head_of("Change your e-mail address", "/account/email"),
        lead=(lead,),
        problems=problems,
        forms=(FormShown("/account/email", "Send the letter", fields=(field,)),),
        links=(HOME,),
    )


@router.get("/account/email")
def show_email(request: Request, tester: Proved, session: ReadSession) -> Response:
    account = account_by_id(session, tester_id=tester.id)
    return answer(request, email_page(account), viewer=tester)


@router.post("/account/email", dependencies=[Limited("sign_up")])
def change_email(
    request: Request,
    tester: Proved,
    fields: Fields,
    _counted: CountedSignUp,
    session: WriteSession,
) -> Response:
    check_form(request, fields.get("csrf_token"))
    account = account_by_id(session, tester_id=tester.id)
    typed = fields.get("email", "")
    try:
        asked = ask_new_email(session, tester_id=tester.id, email=typed)
    except InvalidInput as refusal:
        page = email_page(account, email=typed[:254], problems=all_shown(refusal))
        return refused(request, page, viewer=tester)
    page = FormsPage(
        head=head_of("Look into your mailbox", "/account/email"),
        lead=(
            f"A letter is on its way to {asked.email}. Its link opens a page with one button; "
            "until that is pressed your account stays as it is.",
        ),
        forms=(
            FormShown(
                "/account/email", "Send it again", hidden=(("email", asked.email),), is_main=False
            ),
        ),
        links=(HOME,),
    )
    response = answer(request, page, viewer=tester)
    origin = site_origin(request)
    send_after(
        request,
        response,
        letters.known_already(origin=origin, to=asked.email)
        if asked.is_known
        else letters.change_email(
            origin=origin, to=asked.email, secret=asked.secret, hours=CONFIRM_HOURS
        ),
    )
    if account.email is not None:
        send_after(request, response, letters.email_changing(origin=origin, to=account.email))
    return response


def password_page(account: AccountView, problems: tuple[str, ...] = ()) -> FormsPage:
    has_one = account.has_password
    return FormsPage(
        head=head_of("Change your password" if has_one else "Set a password", "/account/password"),
        lead=("Every other sign-in of your account ends with it.",),
        problems=problems,
        forms=(
            FormShown(
                "/account/password",
                "Change the password" if has_one else "Set the password",
                fields=(replace(NEW_PASSWORD, label="New password"),),
                # What a password keeper files the new one under.
                hidden=(("username", account.email or account.name),),
            ),
        ),
        links=(HOME,),
    )


@router.get("/account/password")
def show_password(request: Request, tester: Proved, session: ReadSession) -> Response:
    account = account_by_id(session, tester_id=tester.id)
    return answer(request, password_page(account), viewer=tester)


@router.post("/account/password")
def set_password(
    request: Request,
    tester: Proved,
    fields: Fields,
    password: NewPasswordField,
    session: WriteSession,
) -> Response:
    check_form(request, fields.get("csrf_token"))
    account = account_by_id(session, tester_id=tester.id)
    if password.problem is not None or password.hash is None:
        problems = (shown(password.problem),) if password.problem else ()
        return refused(request, password_page(account, problems), viewer=tester)
    change_password(
        session, tester_id=tester.id, password_hash=password.hash, keep_session=tester.session_id
    )
    response = to("/account?told=password")
    if account.email is not None:
        letter = letters.sign_in_changed(
            origin=site_origin(request), to=account.email, what="Your password was changed."
        )
        send_after(request, response, letter)
    return response
