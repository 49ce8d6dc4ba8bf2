"""Signing in at a provider: the way there, and what is done on the way back."""

import time

from fastapi import APIRouter, Request
from fastapi.responses import Response

from server.actions.external_sign_in import (
    account_of_identity,
    link_identity,
    sign_up_with_identity,
)
from server.actions.manage_sign_ins import prove_again
from server.actions.second_step import begin_second_step
from server.dependencies import Viewer, WriteSession
from server.dependencies.limits import Limited
from server.dependencies.openid import (
    BACK,
    FRESH_S,
    BackFromProvider,
    ComeBack,
    LeavingForProvider,
    drop_cookie,
    set_cookie,
)
from server.dependencies.people import is_proved
from server.errors import Conflict, NotAllowed, ProofNeeded
from server.model.views import Tester
from server.pages.account_answers import answer, to
from server.pages.account_sign_in import onward_of, second_step_page
from server.sign_in import start_session
from server.store.accounts import account_by_id

router = APIRouter()


@router.get("/sign-in/provider", dependencies=[Limited("sign_in")])
def leave(request: Request, leaving: LeavingForProvider) -> Response:
    """A link, not a form: the browser goes on to another site, which no form of ours may reach."""
    response = to(leaving.address)
    response.headers["Cache-Control"] = "no-store"
    set_cookie(request, response, leaving.sealed)
    return response


@router.get(BACK, dependencies=[Limited("sign_in")])
def come_back(
    request: Request, viewer: Viewer, back: BackFromProvider, session: WriteSession
) -> Response:
    if viewer is not None and not viewer.is_visitor and viewer.session_id is not None:
        response = _signed_in_already(session, viewer, back)
    else:
        response = _sign_in(request, session, viewer, back)
    drop_cookie(request, response)
    return response


def _sign_in(
    request: Request, session: WriteSession, viewer: Tester | None, back: ComeBack
) -> Response:
    tester_id = account_of_identity(session, identity=back.identity)
    target = back.next_address
    if tester_id is None:
        visitor_id = viewer.id if viewer is not None and viewer.is_visitor else None
        tester_id = sign_up_with_identity(session, identity=back.identity, visitor_id=visitor_id)
        target = "/account"
    account = account_by_id(session, tester_id=tester_id)
    if account.has_second_factor:
        step = begin_second_step(session, tester_id=tester_id, next_address=target)
        page = second_step_page(
            step,
            has_codes=account.has_codes or account.n_recovery_codes > 0,
            has_passkeys=bool(account.passkeys),
        )
        return answer(request, page, viewer=None)
    response = to(onward_of(account.role, target))
    start_session(request, response, session, tester_id=tester_id)
    return response


def _signed_in_already(session: WriteSession, viewer: Tester, back: ComeBack) -> Response:
    """Somebody signed in proves it once more there, or adds the provider to the account."""
    if viewer.is_by_token:
        raise NotAllowed("You are signed in with a token. Sign out first.")
    proved_at = back.identity.auth_time
    if proved_at is None or proved_at < time.time() - FRESH_S:
        raise NotAllowed("The provider did not ask you anew, so this proves nothing now.")
    owner = account_of_identity(session, identity=back.identity)
    if owner == viewer.id:
        prove_again(session, tester=viewer, has_second_factor=False)
        return to(back.next_address)
    if owner is not None:
        raise Conflict("Another account here is signed in to that way. Sign out first.")
    if not is_proved(viewer):
        raise ProofNeeded("Give your password or passkey once more.")
    link_identity(session, identity=back.identity, tester_id=viewer.id)
    return to("/account?told=linked")
