"""The letter with the link that confirms a mailbox of a maker."""

import sys

from fastapi import Request, Response
from starlette.background import BackgroundTask

from server.settings import Settings


def send_maker_letter(
    request: Request, response: Response, *, to: str, maker: str, secret: str, hours: int
) -> None:
    """Send it once the change is committed and the answer has left."""
    settings: Settings = request.app.state.settings
    origin = (settings.public_url or str(request.base_url)).rstrip("/")
    text = maker_letter(origin=origin, maker=maker, secret=secret, hours=hours)
    response.background = BackgroundTask(_post, to, text)


def maker_letter(*, origin: str, maker: str, secret: str, hours: int) -> str:
    return (
        f"Somebody, most likely you, asked to answer for {maker} on this ledger. Open\n\n"
        f"  {origin}/speak-for?secret={secret}\n\n"
        f"while you are signed in and press the button there; the link is good for {hours} hours.\n"
        "If it was not you, do nothing: without the button nothing happens.\n"
    )


def _post(to: str, text: str) -> None:
    """To the console, as a service does that has no mail server."""
    sys.stderr.write(f"\nTo: {to}\n\n{text}\n")
