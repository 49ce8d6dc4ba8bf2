"""Signing in with a password, a passkey, a provider or a token; the second step; signing out."""

from dataclasses import replace
from typing import Annotated
from urllib.parse import quote

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.change_password import replace_hash
from server.actions.passkeys import sign_in_with_passkey
from server.actions.second_factor import take_code
from server.actions.second_step import begin_second_step, end_second_step
from server.dependencies import Viewer, WriteSession
from server.dependencies.forms import Fields
from server.dependencies.limits import Limited
from server.dependencies.passkeys import relying_party
from server.dependencies.passwords import CountedStep, PasswordTry, TriedPassword
from server.errors import InvalidInput, SignInNeeded
from server.model.people import NEEDS_SECOND_FACTOR, SCOPES_OF_ROLE, Role
from server.pages.account_answers import answer, refused, to, told
from server.pages.account_shapes import (
    CODE,
    EMAIL,
    PASSWORD,
    Field,
    FormShown,
    FormsPage,
    all_shown,
    head_of,
)
from server.pages.shapes import Link
from server.settings import Settings
from server.sign_in import (
    check_form,
    check_same_site,
    end_session,
    safe_next,
    start_session,
    start_session_with_token,
)

router = APIRouter()
_WRONG = "E-mail address and password don't go together here."


def sign_in_page(
    next_address: str,
    problems: tuple[str, ...] = (),
    *,
    email: str = "",
    told: str | None = None,
    provider: str | None = None,
) -> FormsPage:
    hidden = (("next", next_address),)
    onward = quote(next_address, safe="")
    links = [
        Link("Forgotten the password", "/reset"),
        Link("Sign up", f"/sign-up?next={onward}"),
        Link("What is kept about you, and why", "/privacy"),
    ]
    if provider is not None:
        links.insert(0, Link(f"Sign in with {provider}", f"/sign-in/provider?next={onward}"))
    return FormsPage(
        head=head_of("Sign in", "/sign-in", "Sign in to send runs."),
        told=told,
        lead=("Reading needs no account. Signing in sets one cookie that ends with the sign-in.",),
        problems=problems,
        forms=(
            FormShown(
                "/sign-in",
                "Sign in",
                fields=(
                    replace(EMAIL, value=email, is_required=False),
                    replace(PASSWORD, is_required=False),
                    Field(
                        "token",
                        "Or a token, instead of these two",
                        kind="password",
                        is_required=False,
                        help="Made on the page of an account, or by whoever keeps this ledger. A "
                        "demonstration writes one to the file demo-token in its data folder.",
                    ),
                ),
                hidden=hidden,
            ),
            FormShown(
                "/sign-in/passkey",
                "Use a passkey",
                hidden=hidden,
                title="With a passkey",
                is_main=False,
                passkey="get",
                options_address="/sign-in/passkey/options",
            ),
        ),
        links=tuple(links),
    )


def _provider(request: Request) -> str | None:
    settings: Settings = request.app.state.settings
    return settings.oidc_name if settings.oidc_issuer is not None else None


@router.get("/sign-in")
def show_sign_in(request: Request, viewer: Viewer) -> Response:
    page = sign_in_page(
        safe_next(request.query_params.get("next")),
        told=told(request),
        provider=_provider(request),
    )
    return answer(request, page, viewer=viewer)


@router.post("/sign-in", dependencies=[Limited("sign_in")])
def sign_in(
    request: Request, fields: Fields, tried: TriedPassword, session: WriteSession
) -> Response:
    check_same_site(request)
    target = safe_next(fields.get("next"))
    token = fields.get("token", "").strip()
    if token:
        return _with_token(request, session, token=token, target=target)
    if tried.account is None:
        page = sign_in_page(
            target, (_WRONG,), email=fields.get("email", "")[:254], provider=_provider(request)
        )
        return refused(request, page)
    return _with_password(request, session, tried=tried, target=target)


def _with_token(request: Request, session: WriteSession, *, token: str, target: str) -> Response:
    response = to(target)
    try:
        start_session_with_token(request, response, session, token=token)
    except SignInNeeded as refusal:
        return refused(request, sign_in_page(target, (str(refusal),), provider=_provider(request)))
    return response


def _with_password(
    request: Request, session: WriteSession, *, tried: PasswordTry, target: str
) -> Response:
    account = tried.account
    assert account is not None  # told apart before
    if tried.new_hash is not None:
        replace_hash(session, tester_id=account.id, password_hash=tried.new_hash)
    if account.has_second_factor:
        step = begin_second_step(session, tester_id=account.id, next_address=target)
        page = second_step_page(
            step,
            has_codes=account.has_codes or account.n_recovery_codes > 0,
            has_passkeys=bool(account.passkeys),
        )
        return answer(request, page, viewer=None)
    response = to(onward_of(account.role, target))
    start_session(request, response, session, tester_id=account.id)
    return response


def onward_of(role: Role, target: str) -> str:
    """Where a sign-in without a second factor leads: who needs one for the role sets it up."""
    needs = SCOPES_OF_ROLE[role] & NEEDS_SECOND_FACTOR
    return "/account/second-factor?told=second" if needs else target


def second_step_page(
    step: str, *, has_codes: bool, has_passkeys: bool, problems: tuple[str, ...] = ()
) -> FormsPage:
    hidden = (("step", step),)
    forms = []
    if has_codes:
        forms.append(FormShown("/sign-in/second", "Go on", fields=(CODE,), hidden=hidden))
    if has_passkeys:
        forms.append(
            FormShown(
                "/sign-in/passkey",
                "Use a passkey",
                hidden=hidden,
                title="With a passkey" if has_codes else None,
                is_main=not has_codes,
                passkey="get",
                options_address="/sign-in/passkey/options",
            )
        )
    return FormsPage(
        head=head_of("One more step", "/sign-in/second"),
        lead=("The password is right. This account asks for a second factor too.",),
        problems=problems,
        forms=tuple(forms),
        links=(Link("Begin again", "/sign-in"),),
    )


@router.post("/sign-in/second")
def second_step(
    request: Request, fields: Fields, counted: CountedStep, session: WriteSession
) -> Response:
    check_same_site(request)
    step = fields.get("step", "")
    settings: Settings = request.app.state.settings
    is_right = take_code(
        session, tester_id=counted.id, code=fields.get("code", "")[:60], data=settings.data
    )
    if not is_right:
        page = second_step_page(
            step,
            has_codes=True,
            has_passkeys=bool(counted.passkeys),
            problems=("This is not the code that is due now, or it was used already.",),
        )
        return refused(request, page)
    target = end_second_step(session, step=step)
    response = to(target)
    start_session(request, response, session, tester_id=counted.id, has_second_factor=True)
    return response


@router.post("/sign-in/passkey", dependencies=[Limited("sign_in")])
def with_passkey(request: Request, fields: Fields, session: WriteSession) -> Response:
    """A passkey that its owner unlocked is both factors at once."""
    check_same_site(request)
    target = safe_next(fields.get("next"))
    try:
        tester_id = sign_in_with_passkey(
            session, answer=fields.get("credential", ""), party=relying_party(request)
        )
    except InvalidInput as refusal:
        page = sign_in_page(target, all_shown(refusal), provider=_provider(request))
        return refused(request, page)
    if fields.get("step"):
        target = end_second_step(session, step=fields["step"])
    response = to(target)
    start_session(request, response, session, tester_id=tester_id, has_second_factor=True)
    return response


@router.post("/sign-out")
def sign_out(
    request: Request, session: WriteSession, csrf_token: Annotated[str, Form()] = ""
) -> Response:
    check_form(request, csrf_token)
    response = to("/")
    end_session(request, response, session)
    return response
