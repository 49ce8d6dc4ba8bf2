"""Who asks: by bearer token, or on the pages by the session cookie."""

import logging
from collections.abc import AsyncIterator
from datetime import UTC, datetime, timedelta
from typing import Annotated

from anyio import to_thread
from fastapi import Depends, Request
from sqlalchemy.exc import OperationalError

from server.dependencies.resources import Resources, resources_of
from server.errors import NotAllowed, ProofNeeded, SignInNeeded
from server.model.people import ADMINISTER, DRAFT, MAINTAIN, SEND
from server.model.views import Tester
from server.sign_in import session_key
from server.store.database import read_session, write_session

_log = logging.getLogger("benchledger")

_SAFE_METHODS = {"GET", "HEAD"}


async def _viewer(request: Request) -> AsyncIterator[Tester | None]:
    """Who asks, None for a reader without credentials. A token that is sent must be good.

    That it was used is written down once an hour, after the answer has left.
    """
    viewer = await _found(request)
    yield viewer
    if viewer is not None and _is_due(viewer):
        resources = resources_of(request)
        async with resources.slots, resources.writers:
            await to_thread.run_sync(_note_use, resources, viewer)


def _is_due(viewer: Tester) -> bool:
    from server.actions.note_use import is_due

    return is_due(viewer)


def _note_use(resources: Resources, viewer: Tester) -> None:
    from server.actions.note_use import note_use

    try:
        with write_session(resources.engine) as session:
            note_use(session, tester=viewer)
    except OperationalError as error:
        # The answer has left; the next use writes it down.
        _log.warning("a use could not be written down: %s", error)


async def _found(request: Request) -> Tester | None:
    resources = resources_of(request)
    token = _bearer_token(request)
    if token is not None:
        async with resources.slots:
            return await to_thread.run_sync(_by_token, resources, token)
    key = session_key(request)
    # A cookie comes by itself, so on the API it only reads; on the pages every form is checked.
    is_api = request.url.path.startswith("/api/")
    if key is None or (is_api and request.method not in _SAFE_METHODS):
        return None
    async with resources.slots:
        return await to_thread.run_sync(_by_session, resources, key)


def _bearer_token(request: Request) -> str | None:
    header = request.headers.get("authorization")
    if header is None:
        return None
    scheme, _, token = header.partition(" ")
    if scheme.lower() != "bearer" or not token.strip():
        raise SignInNeeded("Send the token as “Authorization: Bearer …”.")
    return token.strip()


def _by_token(resources: Resources, token: str) -> Tester:
    from server.store.people import tester_for_token

    with read_session(resources.engine) as session:
        tester = tester_for_token(session, token=token)
    if tester is None:
        raise SignInNeeded("This token is unknown, revoked or expired.")
    return tester


def _by_session(resources: Resources, key: str) -> Tester | None:
    from server.store.people import tester_for_session

    with read_session(resources.engine) as session:
        return tester_for_session(session, key=key)


Viewer = Annotated[Tester | None, Depends(_viewer)]


async def _signed_in(viewer: Viewer) -> Tester:
    """An account of one's own: somebody who only tries has none."""
    if viewer is None or viewer.is_visitor:
        raise SignInNeeded("This needs a token: send it as “Authorization: Bearer …”.")
    return viewer


Signed = Annotated[Tester, Depends(_signed_in)]


async def _drafter(viewer: Viewer) -> Tester:
    """Anybody with a place for drafts, with an account or without."""
    if viewer is None:
        raise SignInNeeded("Begin with a file at /send, or sign in.")
    return viewer if SEND in viewer.scopes else _with_scope(viewer, DRAFT)


Drafter = Annotated[Tester, Depends(_drafter)]


async def _writer(tester: Signed) -> Tester:
    return _with_scope(tester, SEND)


Writer = Annotated[Tester, Depends(_writer)]


async def _maintainer(tester: Signed) -> Tester:
    return _with_scope(tester, MAINTAIN)


Maintainer = Annotated[Tester, Depends(_maintainer)]


async def _administrator(tester: Signed) -> Tester:
    return _with_scope(tester, ADMINISTER)


Administrator = Annotated[Tester, Depends(_administrator)]


PROOF_LASTS = timedelta(minutes=15)


def is_proved(tester: Tester) -> bool:
    """Whether who is signed in gave password or passkey lately."""
    at = tester.proved_at
    return at is not None and at >= datetime.now(UTC) - PROOF_LASTS


async def _proved(tester: Signed) -> Tester:
    """Signed in by oneself, not with a token, and lately: for what lets somebody in."""
    if tester.session_id is None:
        raise NotAllowed("This is done on the pages, signed in with a password or passkey.")
    if tester.is_by_token:
        raise NotAllowed(
            "You are signed in with a token. Sign in with your password or passkey for this; "
            "/prove says what to do without one."
        )
    if not is_proved(tester):
        raise ProofNeeded("Give your password or passkey once more.")
    return tester


Proved = Annotated[Tester, Depends(_proved)]


def _with_scope(tester: Tester, scope: str) -> Tester:
    if scope not in tester.scopes:
        raise NotAllowed(f"This needs the scope “{scope}”, which your sign-in or token has not.")
    return tester
