"""One's own tokens: made, listed, ended."""

from dataclasses import dataclass
from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.own_tokens import DAYS, USUAL_DAYS, make_own_token
from server.actions.revoke_token import revoke_token
from server.dependencies import Proved, ReadSession, Signed, WriteSession
from server.dependencies.letters import send_after, site_origin
from server.errors import InvalidInput
from server.mail import letters
from server.model.people import ADMINISTER, MAINTAIN, SEND
from server.model.views import Tester, TokenView
from server.pages.account_answers import answer, to, told
from server.pages.account_shapes import all_shown, head_of
from server.pages.shapes import Head, Option
from server.sign_in import check_form
from server.store.accounts import account_by_id
from server.store.journal import by
from server.store.journal import now as now_utc
from server.store.tokens import list_tokens
from server.wording.counts import show_date

router = APIRouter()
_MAY = {
    SEND: "send runs, rigs and drafts in your name, and read yours",
    MAINTAIN: "see what waits, and decide on it",
    ADMINISTER: "set roles and standing",
}


@dataclass(frozen=True, slots=True)
class TokenShown:
    id: str
    label: str
    may: str
    note: str
    is_live: bool


@dataclass(frozen=True, slots=True)
class TokensPage:
    """`made`: a token in clear, shown this once."""

    head: Head
    told: str | None
    problems: tuple[str, ...]
    made: str | None
    tokens: tuple[TokenShown, ...]
    scopes: tuple[Option, ...]
    days: tuple[Option, ...]
    may_make: bool


def tokens_page(
    tester: Tester,
    *,
    tokens: tuple[TokenView, ...],
    told: str | None = None,
    made: str | None = None,
    problems: tuple[str, ...] = (),
) -> TokensPage:
    mine = [scope for scope in _MAY if scope in tester.scopes]
    return TokensPage(
        head=head_of("Tokens for programs", "/account/tokens"),
        told=told,
        problems=problems,
        made=made,
        tokens=tuple(_shown(one) for one in tokens),
        scopes=tuple(Option(one, f"It may {_MAY[one]}", one == SEND) for one in mine),
        days=tuple(Option(str(n), f"{n} days", n == USUAL_DAYS) for n in DAYS),
        may_make=bool(mine) and not tester.is_by_token,
    )


def _shown(one: TokenView) -> TokenShown:
    is_over = one.expires_at is not None and one.expires_at <= now_utc()
    used = f"last used {show_date(one.used_at)}" if one.used_at else "not used yet"
    if one.revoked_at is not None:
        end = f"ended {show_date(one.revoked_at)}"
    elif one.expires_at is None:
        end = "does not expire"
    else:
        end = f"{'expired' if is_over else 'expires'} {show_date(one.expires_at)}"
    return TokenShown(
        id=one.public_id,
        label=one.label,
        may=", ".join(_MAY.get(scope, scope) for scope in one.scopes),
        note=f"made {show_date(one.created_at)}, {used}, {end}",
        is_live=one.revoked_at is None and not is_over,
    )


@router.get("/account/tokens")
def show_tokens(request: Request, tester: Signed, session: ReadSession) -> Response:
    page = tokens_page(tester, tokens=list_tokens(session, tester=tester), told=told(request))
    return answer(request, page, viewer=tester, template="tokens.html")


@router.post("/account/tokens")
def make(
    request: Request,
    tester: Proved,
    session: WriteSession,
    label: Annotated[str, Form()] = "",
    days: Annotated[int, Form()] = USUAL_DAYS,
    scopes: Annotated[list[str] | None, Form()] = None,
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    """Make one and show it, this once; sending the form again makes another."""
    check_form(request, csrf_token)
    try:
        issued = make_own_token(session, tester=tester, scopes=scopes or [], days=days, label=label)
    except InvalidInput as refusal:
        page = tokens_page(
            tester, tokens=list_tokens(session, tester=tester), problems=all_shown(refusal)
        )
        return answer(request, page, viewer=tester, template="tokens.html", status=422)
    page = tokens_page(tester, tokens=list_tokens(session, tester=tester), made=issued.token)
    response = answer(request, page, viewer=tester, template="tokens.html")
    email = account_by_id(session, tester_id=tester.id).email
    if email is not None:
        what = "A token was made for your account."
        letter = letters.sign_in_changed(origin=site_origin(request), to=email, what=what)
        send_after(request, response, letter)
    return response


@router.post("/account/tokens/{token_id}/end")
def end(
    request: Request,
    token_id: str,
    tester: Signed,
    session: WriteSession,
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    """End a token of one's own, and every sign-in made with it. Asked of nobody twice: quick."""
    check_form(request, csrf_token)
    revoke_token(session, public_id=token_id, actor=by(tester))
    return to("/account/tokens?told=ended")
