"""Database sessions of a request.

Order matters, and each step depends on the one before: who asks is looked up first with a session
of its own, then the slot is awaited, then the request's session is made. Nobody who holds a slot
ever waits for another, so the pool can't starve. `scope="function"`: the writer commits before the
answer is sent.
"""

from collections.abc import AsyncIterator, Iterator
from typing import Annotated

from anyio import to_thread
from fastapi import Depends, Request
from sqlalchemy.orm import Session

from server.dependencies.people import Viewer
from server.dependencies.resources import resources_of
from server.store.database import read_session, write_session


async def _slot(request: Request, _viewer: Viewer) -> AsyncIterator[None]:
    async with resources_of(request).slots:
        yield


Slot = Annotated[None, Depends(_slot, scope="function")]


async def _read_session(request: Request, _slot: Slot) -> AsyncIterator[Session]:
    """Making and closing one costs SQLite microseconds; over a network closing is a round trip."""
    resources = resources_of(request)
    with read_session(resources.engine) as session:
        try:
            yield session
        finally:
            if not resources.is_local:
                await to_thread.run_sync(session.close)


async def _write_turn(request: Request, _slot: Slot) -> AsyncIterator[None]:
    async with resources_of(request).writers:
        yield


WriteTurn = Annotated[None, Depends(_write_turn, scope="function")]


def _write_session(request: Request, _turn: WriteTurn) -> Iterator[Session]:
    with write_session(resources_of(request).engine) as session:
        yield session


ReadSession = Annotated[Session, Depends(_read_session, scope="function")]
WriteSession = Annotated[Session, Depends(_write_session, scope="function")]
