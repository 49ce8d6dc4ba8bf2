"""Signing in once more, before what lets somebody in is changed."""

from urllib.parse import quote

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.actions.manage_sign_ins import prove_again
from server.actions.passkeys import sign_in_with_passkey
from server.actions.second_factor import take_code
from server.dependencies import ReadSession, Signed, WriteSession
from server.dependencies.forms import Fields
from server.dependencies.limits import Limited
from server.dependencies.passkeys import relying_party
from server.dependencies.passwords import TriedOwnPassword
from server.errors import InvalidInput
from server.model.accounts import AccountView
from server.pages.account_answers import answer, refused, to
from server.pages.account_shapes import (
    CODE,
    PASSWORD,
    FormShown,
    FormsPage,
    all_shown,
    head_of,
)
from server.pages.shapes import Link
from server.settings import Settings
from server.sign_in import check_form, safe_next
from server.store.accounts import account_by_id

router = APIRouter()


_WHY = (
    "What lets somebody into your account is changed only shortly after signing in, so "
    "that a browser left open is no way in."
)


def prove_page(
    account: AccountView,
    *,
    next_address: str,
    is_by_token: bool = False,
    problems: tuple[str, ...] = (),
) -> FormsPage:
    """Password and passkey asked for again; whoever can't give one is told what to do instead."""
    if is_by_token or not (account.has_password or account.passkeys or account.providers):
        return _other_way(account, next_address)
    hidden = (("next", next_address),)
    forms = []
    if account.has_password:
        fields = (PASSWORD, CODE) if account.has_codes else (PASSWORD,)
        forms.append(FormShown("/prove", "Go on", fields=fields, hidden=hidden))
    if account.passkeys:
        forms.append(
            FormShown(
                "/prove/passkey",
                "Use a passkey",
                hidden=hidden,
                title="With a passkey" if forms else None,
                is_main=not forms,
                passkey="get",
                options_address="/sign-in/passkey/options",
            )
        )
    links = [Link("Back to your account", "/account")]
    if account.providers:
        links.insert(
            0,
            Link("Through your provider", f"/sign-in/provider?next={quote(next_address, safe='')}"),
        )
    return FormsPage(
        head=head_of("Is it still you?", "/prove"),
        lead=(_WHY,),
        problems=problems,
        forms=tuple(forms),
        links=tuple(links),
    )


def _other_way(account: AccountView, next_address: str) -> FormsPage:
    """For a sign-in with a token, and for an account with nothing but tokens."""
    links = [Link("Back to your account", "/account")]
    if account.has_password or account.passkeys or account.providers:
        todo = (
            "You are signed in with a token, which does not change it. Sign in anew with your "
            "password, passkey or provider."
        )
        links.insert(0, Link("Sign in anew", f"/sign-in?next={quote(next_address, safe='')}"))
    elif account.email is not None:
        todo = (
            "Your account has no password or passkey yet. Ask for a letter to "
            f"{account.email}; its link sets a password. Then sign in with it."
        )
        links.insert(0, Link("Set a password by a letter", "/reset"))
    else:
        todo = (
            "Your account has tokens alone, and no e-mail address a letter could go to. It sends "
            "and reads runs as it is. For a password, sign up for an account of your own."
        )
        links.insert(0, Link("Sign up", "/sign-up"))
    return FormsPage(
        head=head_of("Is it still you?", "/prove"), lead=(_WHY, todo), links=tuple(links)
    )


@router.get("/prove")
def show_prove(request: Request, tester: Signed, session: ReadSession) -> Response:
    account = account_by_id(session, tester_id=tester.id)
    target = safe_next(request.query_params.get("next"))
    page = prove_page(account, next_address=target, is_by_token=tester.is_by_token)
    return answer(request, page, viewer=tester)


@router.post("/prove", dependencies=[Limited("sign_in")])
def prove(
    request: Request,
    tester: Signed,
    fields: Fields,
    tried: TriedOwnPassword,
    session: WriteSession,
) -> Response:
    check_form(request, fields.get("csrf_token"))
    target, account = safe_next(fields.get("next")), tried.account
    problem = None if tried.is_right else "This is not your password."
    has_second_factor = False
    if problem is None and account.has_codes:
        settings: Settings = request.app.state.settings
        has_second_factor = take_code(
            session, tester_id=tester.id, code=fields.get("code", "")[:60], data=settings.data
        )
        if not has_second_factor:
            problem = "This is not the code that is due now, or it was used already."
    if problem is not None:
        page = prove_page(account, next_address=target, problems=(problem,))
        return refused(request, page, viewer=tester)
    prove_again(session, tester=tester, has_second_factor=has_second_factor)
    return to(target)


@router.post("/prove/passkey", dependencies=[Limited("sign_in")])
def prove_with_passkey(
    request: Request, tester: Signed, fields: Fields, session: WriteSession
) -> Response:
    check_form(request, fields.get("csrf_token"))
    target = safe_next(fields.get("next"))
    try:
        sign_in_with_passkey(
            session,
            answer=fields.get("credential", ""),
            party=relying_party(request),
            tester_id=tester.id,
        )
    except InvalidInput as refusal:
        account = account_by_id(session, tester_id=tester.id)
        page = prove_page(account, next_address=target, problems=all_shown(refusal))
        return refused(request, page, viewer=tester)
    prove_again(session, tester=tester, has_second_factor=True)
    return to(target)
