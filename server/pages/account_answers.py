"""How pages of accounts are answered: never kept, and with whoever asks in the foot."""

from fastapi import Request
from fastapi.responses import RedirectResponse, Response

from server.model.views import Tester
from server.pages.account_shapes import FormsPage
from server.pages.request import site_of
from server.pages.templating import Context, render

_TOLD = {
    "name": "Your name was changed.",
    "password": "Your password was changed. Every other sign-in has ended.",
    "reset": "Your password was set. Sign in with it.",
    "email": "The address is confirmed, and yours.",
    "sent": "A letter is on its way again. It can take a minute; look among unwanted mail too.",
    "ended": "Ended.",
    "passkey": "The passkey was added.",
    "removed": "Removed.",
    "second": "This role works with a second factor only: set up a passkey or codes, once.",
    "linked": "From now on you can sign in that way too.",
    "erased": "Your account was deleted. Your runs stay, under a neutral name.",
    "approved": "The command is signed in. Go back to it.",
    "denied": "The command was refused.",
    "out": "You are signed out.",
}


def answer(
    request: Request,
    page: Context,
    *,
    viewer: Tester | None,
    template: str = "forms.html",
    status: int = 200,
) -> Response:
    response = render(request, template, page, status=status, site=site_of(request, viewer))
    # Never from a cache, not even the browser's own once somebody has signed out.
    response.headers["Cache-Control"] = "no-store"
    return response


def refused(request: Request, page: FormsPage, *, viewer: Tester | None = None) -> Response:
    return answer(request, page, viewer=viewer, status=422)


def to(address: str) -> RedirectResponse:
    return RedirectResponse(address, status_code=303)


def told(request: Request) -> str | None:
    """What has just been done, from a closed list of words."""
    return _TOLD.get(request.query_params.get("told", ""))
