"""Nothing typed is lost where a sign-in has ended: the form comes back, to be sent once more."""

from collections.abc import Callable, Coroutine
from dataclasses import dataclass
from typing import Any
from urllib.parse import quote

from fastapi import Request
from fastapi.responses import Response
from fastapi.routing import APIRoute

from server.errors import NotAllowed, SignInNeeded
from server.pages.request import site_of
from server.pages.shapes import Head
from server.pages.templating import render
from server.sign_in import FORM_FIELD, check_form, check_same_site

MOST_FIELDS = 2000


@dataclass(frozen=True, slots=True)
class SendAgainPage:
    """A form as it was posted. `sign_in_href`: where to sign in first, None once signed in."""

    head: Head
    href: str
    fields: tuple[tuple[str, str], ...]
    sign_in_href: str | None
    back_href: str


class TypedKept(APIRoute):
    """A route whose form, posted after its session had ended, is given back instead of lost."""

    def get_route_handler(self) -> Callable[[Request], Coroutine[Any, Any, Response]]:
        handle = super().get_route_handler()

        async def handle_or_give_back(request: Request) -> Response:
            try:
                return await handle(request)
            except SignInNeeded:
                if request.method != "POST":
                    raise
                return await _give_back(request, needs_sign_in=True)
            except NotAllowed:
                if request.method != "POST" or not await _is_out_of_date(request):
                    raise
                return await _give_back(request, needs_sign_in=False)

        return handle_or_give_back


async def _is_out_of_date(request: Request) -> bool:
    """Whether the form came from our own page, but one of an earlier session.

    Raises NotAllowed where another site sent it.
    """
    check_same_site(request)
    form = await request.form(max_fields=MOST_FIELDS)
    token = form.get(FORM_FIELD)
    try:
        check_form(request, token if isinstance(token, str) else None)
    except NotAllowed:
        return True
    return False


async def _give_back(request: Request, *, needs_sign_in: bool) -> Response:
    check_same_site(request)
    form = await request.form(max_fields=MOST_FIELDS)
    typed = tuple(
        (name, value)
        for name, value in form.multi_items()
        if isinstance(value, str) and name != FORM_FIELD
    )
    path = request.url.path
    page = SendAgainPage(
        head=Head(
            title="Send this form once more",
            description="What was typed is kept in this page.",
            path=path,
            is_indexed=False,
        ),
        href=path,
        fields=typed,
        sign_in_href=f"/sign-in?next={quote('/send', safe='')}" if needs_sign_in else None,
        back_href="/send",
    )
    status = 401 if needs_sign_in else 403
    return render(request, "send_again.html", page, status=status, site=site_of(request))
