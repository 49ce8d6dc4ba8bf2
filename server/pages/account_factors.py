"""The second factor of an account: passkeys, codes, recovery codes."""

from typing import Annotated

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.manage_sign_ins import prove_again
from server.actions.passkeys import add_passkey, ask_new_passkey, ask_passkey, remove_passkey
from server.actions.second_factor import (
    begin_codes,
    confirm_codes,
    pending_secret,
    remove_codes,
    renew_recovery,
    setup_shown,
)
from server.dependencies import Proved, ReadSession, WriteSession
from server.dependencies.forms import Fields
from server.dependencies.letters import send_after, site_origin
from server.dependencies.limits import Limited
from server.dependencies.passkeys import relying_party
from server.errors import InvalidInput
from server.mail import letters
from server.model.accounts import AccountView, PasskeyView
from server.model.views import Tester
from server.pages.account_answers import answer, refused, to, told
from server.pages.account_shapes import CODE, Field, FormShown, FormsPage, all_shown, head_of
from server.pages.shapes import Link
from server.settings import Settings
from server.sign_in import check_form, check_same_site
from server.store.accounts import account_by_id
from server.wording.counts import show_date as day

router = APIRouter()
HOME = Link("Back to your account", "/account")
PLACE = "/account/second-factor"


def factors_page(
    account: AccountView, *, told: str | None = None, problems: tuple[str, ...] = ()
) -> FormsPage:
    lead = (
        "With a second factor a stolen password opens nothing. Maintainers and administrators "
        "need one, and so do testers whose runs are published at once.",
    )
    return FormsPage(
        head=head_of("Second factor", PLACE),
        told=told,
        lead=lead,
        problems=problems,
        forms=(_add_form(), *(_remove_form(one) for one in account.passkeys), *_codes(account)),
        links=(HOME,),
    )


def _add_form() -> FormShown:
    label = Field(
        "label", "Name of the passkey", value="Passkey", help="So that you tell them apart."
    )
    return FormShown(
        "/account/passkeys",
        "Add a passkey",
        fields=(label,),
        title="Passkeys",
        note="A passkey is unlocked on your device, by its code, finger or face. It signs in by "
        "itself, and is a second factor too.",
        passkey="create",
        options_address="/account/passkeys/options",
    )


def _remove_form(one: PasskeyView) -> FormShown:
    used = f"last used {day(one.used_at)}" if one.used_at else "not used yet"
    return FormShown(
        f"/account/passkeys/{one.public_id}/remove",
        f"Remove “{one.label}”",
        note=f"“{one.label}”, added {day(one.created_at)}, {used}.",
        is_main=False,
    )


def _codes(account: AccountView) -> tuple[FormShown, ...]:
    if not account.has_codes:
        begin = FormShown(
            "/account/codes",
            "Set up codes",
            title="Codes",
            note="An authenticator on your phone shows six digits that change every half minute.",
            is_main=False,
        )
        return (begin,)
    renew = FormShown(
        "/account/codes/recovery",
        "Make new recovery codes",
        title="Codes",
        note=f"Codes are set up. {account.n_recovery_codes} recovery codes are left; new ones "
        "replace them.",
        is_main=False,
    )
    return (renew, FormShown("/account/codes/remove", "Remove the codes", is_main=False))


@router.get(PLACE)
def show_factors(request: Request, tester: Proved, session: ReadSession) -> Response:
    account = account_by_id(session, tester_id=tester.id)
    return answer(request, factors_page(account, told=told(request)), viewer=tester)


@router.post("/account/passkeys/options")
def new_passkey_options(
    request: Request,
    tester: Proved,
    session: WriteSession,
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    options = ask_new_passkey(session, tester_id=tester.id, party=relying_party(request))
    return _json(options)


@router.post("/sign-in/passkey/options", dependencies=[Limited("sign_in")])
def passkey_options(request: Request, session: WriteSession) -> Response:
    check_same_site(request)
    return _json(ask_passkey(session, party=relying_party(request)))


def _json(text: str) -> Response:
    return Response(text, media_type="application/json", headers={"Cache-Control": "no-store"})


@router.post("/account/passkeys")
def new_passkey(
    request: Request, tester: Proved, fields: Fields, session: WriteSession
) -> Response:
    check_form(request, fields.get("csrf_token"))
    try:
        add_passkey(
            session,
            tester_id=tester.id,
            answer=fields.get("credential", ""),
            label=fields.get("label", ""),
            party=relying_party(request),
        )
    except InvalidInput as refusal:
        account = account_by_id(session, tester_id=tester.id)
        page = factors_page(account, problems=all_shown(refusal))
        return refused(request, page, viewer=tester)
    prove_again(session, tester=tester, has_second_factor=True)
    response = to(f"{PLACE}?told=passkey")
    _notify(request, response, session, tester, "A passkey was added.")
    return response


@router.post("/account/passkeys/{passkey_id}/remove")
def end_passkey(
    request: Request, passkey_id: str, tester: Proved, fields: Fields, session: WriteSession
) -> Response:
    check_form(request, fields.get("csrf_token"))
    remove_passkey(session, tester_id=tester.id, public_id=passkey_id)
    response = to(f"{PLACE}?told=removed")
    _notify(request, response, session, tester, "A passkey was removed.")
    return response


@router.post("/account/codes")
def start_codes(
    request: Request, tester: Proved, fields: Fields, session: WriteSession
) -> Response:
    check_form(request, fields.get("csrf_token"))
    begin_codes(session, tester_id=tester.id, data=_settings(request).data)
    return to("/account/codes")


def codes_page(tester: Tester, secret: str, problems: tuple[str, ...] = ()) -> FormsPage:
    picture, text = setup_shown(secret, account=tester.name)
    return FormsPage(
        head=head_of("Set up codes", "/account/codes"),
        lead=(
            "Read this picture with an authenticator, then type the code it shows. Codes count "
            "from then on.",
        ),
        problems=problems,
        picture=picture,
        picture_text=text,
        forms=(FormShown("/account/codes/confirm", "These codes are mine", fields=(CODE,)),),
        links=(Link("Back", PLACE),),
    )


@router.get("/account/codes")
def show_codes(request: Request, tester: Proved, session: ReadSession) -> Response:
    secret = pending_secret(session, tester_id=tester.id, data=_settings(request).data)
    if secret is None:
        return to(PLACE)
    return answer(request, codes_page(tester, secret), viewer=tester)


@router.post("/account/codes/confirm", dependencies=[Limited("sign_in")])
def finish_codes(
    request: Request, tester: Proved, fields: Fields, session: WriteSession
) -> Response:
    check_form(request, fields.get("csrf_token"))
    data = _settings(request).data
    try:
        recovery = confirm_codes(
            session, tester_id=tester.id, code=fields.get("code", "")[:60], data=data
        )
    except InvalidInput as refusal:
        secret = pending_secret(session, tester_id=tester.id, data=data) or ""
        return refused(request, codes_page(tester, secret, all_shown(refusal)), viewer=tester)
    prove_again(session, tester=tester, has_second_factor=True)
    response = answer(request, recovery_page(recovery), viewer=tester)
    _notify(request, response, session, tester, "Codes were set up as a second factor.")
    return response


def recovery_page(recovery: tuple[str, ...]) -> FormsPage:
    return FormsPage(
        head=head_of("Your recovery codes", "/account/codes"),
        lead=(
            "Each of these works once instead of a code, should the authenticator be lost. Print "
            "them or write them down now: they are shown this once, and only their digests kept.",
        ),
        codes=recovery,
        links=(HOME,),
    )


@router.post("/account/codes/recovery")
def new_recovery(
    request: Request, tester: Proved, fields: Fields, session: WriteSession
) -> Response:
    check_form(request, fields.get("csrf_token"))
    page = recovery_page(renew_recovery(session, tester_id=tester.id))
    return answer(request, page, viewer=tester)


@router.post("/account/codes/remove")
def end_codes(request: Request, tester: Proved, fields: Fields, session: WriteSession) -> Response:
    check_form(request, fields.get("csrf_token"))
    remove_codes(session, tester_id=tester.id)
    response = to(f"{PLACE}?told=removed")
    _notify(request, response, session, tester, "The codes of your second factor were removed.")
    return response


def _notify(
    request: Request, response: Response, session: WriteSession, tester: Tester, what: str
) -> None:
    email = account_by_id(session, tester_id=tester.id).email
    if email is not None:
        origin = site_origin(request)
        send_after(request, response, letters.sign_in_changed(origin=origin, to=email, what=what))


def _settings(request: Request) -> Settings:
    found: Settings = request.app.state.settings
    return found
