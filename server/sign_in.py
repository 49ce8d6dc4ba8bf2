"""Signing in to the pages with a token: a cookie, and proof that a form is ours.

The cookie holds a random key; the store knows it by its SHA-256 and ends it with its token, so a
revoked token ends its browser sessions too. It is HttpOnly and SameSite=Lax. A form that changes
something needs three things: the cookie, a request that the browser says came from this site
(Sec-Fetch-Site, else Origin), and the field `csrf_token`, which only a page of this session holds.
"""

import base64
import binascii
import hmac
import re
import secrets
from urllib.parse import urlsplit

from fastapi import Request, Response
from sqlalchemy.orm import Session

from server.actions import sign_in
from server.actions.adopt_visit import adopt_visit
from server.errors import NotAllowed
from server.settings import Settings

FORM_FIELD = "csrf_token"
_COOKIE = "benchledger_session"
_SAFE_METHODS = {"GET", "HEAD", "OPTIONS"}
_SESSION_KEY = re.compile(r"[A-Za-z0-9_-]{20,100}")


def start_session(
    request: Request,
    response: Response,
    session: Session,
    *,
    tester_id: int,
    has_second_factor: bool = False,
) -> None:
    """Begin a sign-in of somebody who has just proved who they are, and set its cookie.

    The key is always a new one: a key from before the sign-in is worth nothing after it.
    """
    settings: Settings = request.app.state.settings
    _leave_visit(request, session, tester_id=tester_id)
    key = sign_in.start_session(
        session,
        tester_id=tester_id,
        hours=settings.session_hours,
        has_second_factor=has_second_factor,
        agent=request.headers.get("user-agent"),
    )
    _set_cookie(response, settings, key, hours=settings.session_hours)


def start_session_with_token(
    request: Request, response: Response, session: Session, *, token: str
) -> None:
    """Begin a sign-in with a token and set its cookie. `session` is a write session.

    Raises
    ------
    SignInNeeded: the token is unknown, expired or revoked.
    """
    settings: Settings = request.app.state.settings
    tester_id, key = sign_in.sign_in_with_token(
        session,
        token=token,
        hours=settings.session_hours,
        agent=request.headers.get("user-agent"),
    )
    _leave_visit(request, session, tester_id=tester_id)
    _set_cookie(response, settings, key, hours=settings.session_hours)


def _leave_visit(request: Request, session: Session, *, tester_id: int) -> None:
    """What was tried before signing in goes along; the cookie of before is worth nothing now."""
    key = session_key(request)
    if key is not None:
        adopt_visit(session, key=key, tester_id=tester_id)
        sign_in.end_session(session, key=key)


def start_visit(request: Request, response: Response, session: Session) -> str:
    """Let somebody try without an account, and set the cookie; gives its key."""
    settings: Settings = request.app.state.settings
    key = sign_in.start_visit(session, agent=request.headers.get("user-agent"))
    _set_cookie(response, settings, key, hours=sign_in.VISIT_HOURS)
    return key


def _set_cookie(response: Response, settings: Settings, key: str, *, hours: float) -> None:
    response.set_cookie(
        cookie_name(settings),
        key,
        max_age=int(hours * 3600),
        path="/",
        secure=settings.secure_cookies,
        httponly=True,
        samesite="lax",
    )


def end_session(request: Request, response: Response, session: Session) -> None:
    """End the sign-in of the cookie, on the server too, and take the cookie away."""
    settings: Settings = request.app.state.settings
    key = session_key(request)
    if key is not None:
        sign_in.end_session(session, key=key)
    response.delete_cookie(
        cookie_name(settings),
        path="/",
        secure=settings.secure_cookies,
        httponly=True,
        samesite="lax",
    )


def session_key(request: Request) -> str | None:
    """The cookie's key, if it looks like one; whether it is good is the store's to say."""
    key = request.cookies.get(cookie_name(request.app.state.settings), "")
    return key if _SESSION_KEY.fullmatch(key) else None


def cookie_name(settings: Settings) -> str:
    """With TLS the `__Host-` prefix: no other host and no plain connection can set it."""
    return f"__Host-{_COOKIE}" if settings.secure_cookies else _COOKIE


def csrf_token(request: Request) -> str:
    """The value of a form's `csrf_token` field; empty without a session.

    Masked anew each time, so that compression never meets the same secret twice.
    """
    key = session_key(request)
    return "" if key is None else form_token(key)


def form_token(key: str) -> str:
    """The value of the field for a session that this very request begins."""
    secret = _form_secret(key)
    mask = secrets.token_bytes(len(secret))
    return base64.urlsafe_b64encode(mask + _xor(mask, secret)).decode()


def check_form(request: Request, form_token: str | None) -> None:
    """Refuse a form that this session's own pages did not send.

    Raises
    ------
    NotAllowed: another site sent it, or the token field is missing or another session's.
    """
    check_same_site(request)
    key = session_key(request)
    if key is None or not form_token or not _is_form_token(key, form_token):
        raise NotAllowed("This form is out of date. Open the page again and send it once more.")


def check_same_site(request: Request) -> None:
    """Refuse a change that another site caused. Neither header there: no browser of our time.

    Raises
    ------
    NotAllowed: Sec-Fetch-Site or Origin names another site.
    """
    if request.method in _SAFE_METHODS:
        return
    fetch_site = request.headers.get("sec-fetch-site")
    if fetch_site is not None:
        is_ours = fetch_site in {"same-origin", "none"}
    else:
        origin = request.headers.get("origin")
        is_ours = origin is None or _is_own_origin(request, origin)
    if not is_ours:
        raise NotAllowed("This was sent from another site, so nothing was done.")


def safe_next(address: str | None) -> str:
    """Where to go after signing in: an address of this site, else the front page."""
    if not address or not address.startswith("/") or address[1:2] in {"/", "\\"}:
        return "/"
    is_plain = all(32 < ord(c) < 127 and c != "\\" for c in address)
    return address if is_plain else "/"


def _is_own_origin(request: Request, origin: str) -> bool:
    settings: Settings = request.app.state.settings
    if settings.public_url and origin == settings.public_url.rstrip("/"):
        return True
    return urlsplit(origin).netloc == request.headers.get("host")


def _is_form_token(key: str, form_token: str) -> bool:
    secret = _form_secret(key)
    try:
        sent = base64.urlsafe_b64decode(form_token.encode("ascii"))
    except (binascii.Error, UnicodeEncodeError):
        return False
    mask, masked = sent[: len(secret)], sent[len(secret) :]
    return len(sent) == 2 * len(secret) and hmac.compare_digest(_xor(mask, masked), secret)


def _form_secret(key: str) -> bytes:
    return hmac.digest(key.encode(), b"form token", "sha256")


def _xor(left: bytes, right: bytes) -> bytes:
    return bytes(a ^ b for a, b in zip(left, right, strict=True))
