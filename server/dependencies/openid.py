"""Signing in at an OpenID Connect provider: there and back (code flow with PKCE, state, nonce).

What must be known again on the way back travels in the browser's own cookie, sealed: state, nonce
and the code's verifier. So beginning a sign-in stores nothing, and only the browser that began it
can end it. No database session is open while the provider is asked.
"""

import hmac
import json
import logging
import secrets
import time
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Annotated, Any

from fastapi import Depends, Request, Response

from server.credentials.id_tokens import Identity, read_id_token
from server.credentials.sealing import NotSealedHere, seal, unseal
from server.dependencies.letters import site_origin
from server.dependencies.people import Viewer
from server.errors import LinkOver, NotAllowed, NotFound, Unavailable
from server.settings import Settings
from server.sign_in import safe_next

_log = logging.getLogger("benchledger")

BACK = "/sign-in/provider/back"
MINUTES = 10
_PURPOSE = "provider sign-in"
_TIMEOUT_S = 10.0
_KEPT_S = 3600.0
# Somebody signed in already proves it anew there: not longer ago than this.
FRESH_S = 300.0


@dataclass(frozen=True, slots=True)
class Leaving:
    """Where the browser goes, and what it takes along."""

    address: str
    sealed: str


@dataclass(frozen=True, slots=True)
class ComeBack:
    identity: Identity
    next_address: str


async def _leave(request: Request, viewer: Viewer) -> Leaving:
    from authlib.integrations.httpx_client import AsyncOAuth2Client

    settings = _settings(request)
    described = await _described(request)
    kept = {
        "state": secrets.token_urlsafe(32),
        "nonce": secrets.token_urlsafe(32),
        "verifier": secrets.token_urlsafe(48),
        "next": safe_next(request.query_params.get("next")),
        "until": time.time() + MINUTES * 60,
    }
    asked = {"max_age": "0"} if viewer is not None and not viewer.is_visitor else {}
    async with _client(AsyncOAuth2Client, request) as client:
        address, _ = client.create_authorization_url(
            described["authorization_endpoint"],
            state=kept["state"],
            nonce=kept["nonce"],
            code_verifier=kept["verifier"],
            **asked,
        )
    return Leaving(str(address), seal(settings.data, json.dumps(kept), purpose=_PURPOSE))


async def _come_back(request: Request) -> ComeBack:
    from authlib.common.errors import AuthlibBaseError
    from authlib.integrations.httpx_client import AsyncOAuth2Client
    from httpx import AsyncClient, HTTPError

    settings = _settings(request)
    described = await _described(request)
    kept = _kept(request)
    told = request.query_params
    if "error" in told:
        raise NotAllowed("The provider signed nobody in.")
    # RFC 9207: where the provider names itself, it is the one that was asked.
    if told.get("iss", settings.oidc_issuer) != settings.oidc_issuer:
        raise NotAllowed("This answer is another provider's.")
    try:
        async with _client(AsyncOAuth2Client, request) as client:
            answer = await client.fetch_token(
                described["token_endpoint"],
                code=told.get("code", ""),
                code_verifier=kept["verifier"],
                grant_type="authorization_code",
            )
        async with AsyncClient(timeout=_TIMEOUT_S) as plain:
            keys = (await plain.get(described["jwks_uri"])).raise_for_status().json()
    except (HTTPError, AuthlibBaseError, ValueError) as error:
        _log.warning("the provider's answer could not be fetched: %r", error)
        raise Unavailable("The provider does not answer as it should. Try again soon.") from error
    assert settings.oidc_issuer is not None  # _described would have refused
    assert settings.oidc_client_id is not None  # the settings are refused without it
    identity = read_id_token(
        str(answer.get("id_token", "")),
        keys=keys,
        issuer=settings.oidc_issuer,
        client_id=settings.oidc_client_id,
        nonce=str(kept["nonce"]),
    )
    return ComeBack(identity, safe_next(str(kept["next"])))


def _kept(request: Request) -> dict[str, Any]:
    """What this browser left with, if it is the one that comes back."""
    settings = _settings(request)
    over = "This sign-in took too long, or began in another browser. Begin again."
    try:
        sealed = request.cookies.get(cookie_name(settings), "")
        kept: dict[str, Any] = json.loads(unseal(settings.data, sealed, purpose=_PURPOSE))
    except (NotSealedHere, ValueError) as error:
        raise LinkOver(over) from error
    state = request.query_params.get("state", "")
    is_same = hmac.compare_digest(state.encode(errors="replace"), str(kept["state"]).encode())
    if not is_same or float(kept["until"]) < time.time():
        raise LinkOver(over)
    return kept


async def _described(request: Request) -> Mapping[str, Any]:
    """The provider's own description (OpenID Connect Discovery 1.0, 4), kept for an hour."""
    from httpx import AsyncClient, HTTPError

    settings = _settings(request)
    if settings.oidc_issuer is None:
        raise NotFound("This ledger has no provider to sign in with.")
    known = getattr(request.app.state, "provider", None)
    if known is not None and known[0] > time.monotonic():
        return known[1]  # type: ignore[no-any-return]
    place = f"{settings.oidc_issuer.rstrip('/')}/.well-known/openid-configuration"
    try:
        async with AsyncClient(timeout=_TIMEOUT_S) as client:
            described = (await client.get(place)).raise_for_status().json()
        wanted = ("authorization_endpoint", "token_endpoint", "jwks_uri")
        is_whole = all(isinstance(described[name], str) for name in wanted)
    except (HTTPError, ValueError, KeyError, TypeError) as error:
        _log.warning("%s can't be read: %r", place, error)
        raise Unavailable("The provider does not answer at present. Try again soon.") from error
    if not is_whole or described.get("issuer") != settings.oidc_issuer:
        _log.error("%s describes another issuer", place)
        raise Unavailable("The provider describes itself as another one. Tell who keeps this.")
    request.app.state.provider = (time.monotonic() + _KEPT_S, described)
    return described  # type: ignore[no-any-return]


def _client(kind: Any, request: Request) -> Any:
    settings = _settings(request)
    return kind(
        settings.oidc_client_id,
        settings.oidc_client_secret,
        scope="openid profile",
        redirect_uri=f"{site_origin(request)}{BACK}",
        code_challenge_method="S256",
        timeout=_TIMEOUT_S,
    )


def set_cookie(request: Request, response: Response, sealed: str) -> None:
    settings = _settings(request)
    response.set_cookie(
        cookie_name(settings),
        sealed,
        max_age=MINUTES * 60,
        path="/",
        secure=settings.secure_cookies,
        httponly=True,
        # The way back begins at the provider: Strict would leave the cookie out.
        samesite="lax",
    )


def drop_cookie(request: Request, response: Response) -> None:
    settings = _settings(request)
    response.delete_cookie(
        cookie_name(settings), path="/", secure=settings.secure_cookies, httponly=True
    )


def cookie_name(settings: Settings) -> str:
    name = "benchledger_provider"
    return f"__Host-{name}" if settings.secure_cookies else name


def _settings(request: Request) -> Settings:
    found: Settings = request.app.state.settings
    return found


LeavingForProvider = Annotated[Leaving, Depends(_leave)]
BackFromProvider = Annotated[ComeBack, Depends(_come_back)]
