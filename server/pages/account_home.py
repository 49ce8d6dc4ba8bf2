"""The page of one's own account: who one is here, where one is signed in, one's tokens and data."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.change_name import change_name
from server.actions.manage_sign_ins import end_other_sign_ins, end_sign_in
from server.dependencies import ReadSession, Signed, WriteSession
from server.errors import InvalidInput
from server.model.accounts import AccountView, SignInView
from server.model.people import Role
from server.model.views import Tester
from server.pages.account_answers import answer, refused, to, told
from server.pages.account_shapes import Field, FormShown, FormsPage, all_shown, head_of
from server.pages.shapes import Head, Link, Value
from server.sign_in import check_form
from server.store.accounts import account_by_id, list_sign_ins
from server.wording.agents import show_agent
from server.wording.counts import count_of, show_moment

router = APIRouter()
_ROLES = {
    Role.VISITOR: "trying without an account",
    Role.READER: "waits for its e-mail address to be confirmed; then it sends runs for review",
    Role.TESTER: "tester: sends runs for review",
    Role.MAINTAINER: "maintainer: decides on what others send",
    Role.ADMINISTRATOR: "administrator: maintains, and sets who may",
}


@dataclass(frozen=True, slots=True)
class SignInShown:
    id: str
    browser: str
    note: str
    is_current: bool


@dataclass(frozen=True, slots=True)
class AccountPage:
    head: Head
    told: str | None
    notice: str | None
    rows: tuple[Value, ...]
    sign_ins: tuple[SignInShown, ...]
    has_others: bool
    links: tuple[Link, ...]


def account_page(
    account: AccountView,
    *,
    tester: Tester,
    sign_ins: tuple[SignInView, ...],
    told: str | None = None,
) -> AccountPage:
    links = [
        Link("My bench", "/my-bench"),
        Link("My runs", "/my-runs"),
        Link("Tokens for programs", "/account/tokens"),
        Link("Your data: take it along, or delete it", "/account/data"),
        Link("What is kept about you, and why", "/privacy"),
    ]
    if account.role is Role.ADMINISTRATOR:
        links.insert(0, Link("People", "/account/people"))
    return AccountPage(
        head=head_of("Your account", "/account"),
        told=told,
        notice=_notice(account, tester),
        rows=_rows(account, is_by_token=tester.is_by_token),
        sign_ins=tuple(_shown(one, tester) for one in sign_ins),
        has_others=len(sign_ins) > 1,
        links=tuple(links),
    )


def _rows(account: AccountView, *, is_by_token: bool) -> tuple[Value, ...]:
    """What is changed with a password or passkey alone has no link for a token's sign-in."""
    asked = f"{account.asked_email} is not confirmed yet" if account.asked_email else None
    passkeys = count_of(len(account.passkeys), "passkey")
    factor = "codes" if account.has_codes else ""
    if account.passkeys:
        factor = f"{passkeys} and {factor}" if factor else passkeys
    return (
        Value("Name", account.name, href="/account/name", note="change"),
        Value(
            "E-mail address",
            account.email or "none confirmed",
            note=asked,
            href=None if is_by_token else "/account/email",
            is_missing=account.email is None,
        ),
        Value(
            "Password",
            "set" if account.has_password else "none",
            href=None if is_by_token else "/account/password",
        ),
        Value(
            "Second factor",
            factor or "none",
            href=None if is_by_token else "/account/second-factor",
        ),
        Value("Role", _ROLES[account.role]),
        Value("Here since", show_moment(account.created_at)),
    )


def _notice(account: AccountView, tester: Tester) -> str | None:
    if tester.is_by_token and account.email is None and not account.passkeys:
        return "Whoever keeps this ledger made this account: a name, and tokens to sign in with."
    if tester.is_by_token:
        return (
            "You are signed in with a token. Address, password and second factor are changed once "
            "you sign in with your password or passkey."
        )
    if account.role is Role.READER and account.asked_email is not None:
        return "Confirm your e-mail address with the link in the letter; then runs can be sent."
    if account.role is Role.READER:
        return "Give an e-mail address and confirm it; then runs can be sent."
    if account.role in {Role.MAINTAINER, Role.ADMINISTRATOR} and not tester.has_second_factor:
        return "Your role works once you have a second factor and signed in with it."
    return None


def _shown(one: SignInView, tester: Tester) -> SignInShown:
    browser = show_agent(one.agent)
    if one.token is not None:
        browser += f", with the token “{one.token}”"
    return SignInShown(
        id=one.public_id,
        browser=browser,
        note=f"since {show_moment(one.created_at)}, last seen {show_moment(one.seen_at)}",
        is_current=one.public_id == tester.session_id,
    )


@router.get("/account")
def show_account(request: Request, tester: Signed, session: ReadSession) -> Response:
    page = account_page(
        account_by_id(session, tester_id=tester.id),
        tester=tester,
        sign_ins=list_sign_ins(session, tester_id=tester.id),
        told=told(request),
    )
    return answer(request, page, viewer=tester, template="account.html")


def name_page(name: str, problems: tuple[str, ...] = ()) -> FormsPage:
    field = Field(
        "name", "Name", value=name, autocomplete="nickname", help="Shown beside your runs."
    )
    return FormsPage(
        head=head_of("Change your name", "/account/name"),
        problems=problems,
        forms=(FormShown("/account/name", "Change the name", fields=(field,)),),
        links=(Link("Back to your account", "/account"),),
    )


@router.get("/account/name")
def show_name(request: Request, tester: Signed) -> Response:
    return answer(request, name_page(tester.name), viewer=tester)


@router.post("/account/name")
def set_name(
    request: Request,
    tester: Signed,
    session: WriteSession,
    name: Annotated[str, Form()] = "",
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    try:
        change_name(session, tester=tester, name=name)
    except InvalidInput as refusal:
        return refused(request, name_page(name[:200], all_shown(refusal)), viewer=tester)
    return to("/account?told=name")


@router.post("/account/sign-ins/{sign_in_id}/end")
def end_one(
    request: Request,
    sign_in_id: str,
    tester: Signed,
    session: WriteSession,
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    end_sign_in(session, tester=tester, public_id=sign_in_id)
    return to("/" if sign_in_id == tester.session_id else "/account?told=ended")


@router.post("/account/sign-ins/end-others")
def end_others(
    request: Request,
    tester: Signed,
    session: WriteSession,
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    end_other_sign_ins(session, tester=tester)
    return to("/account?told=ended")
