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


async def _read_session(request: Request, _viewer: Viewer) -> AsyncIterator[Session]:
    """Making and closing one costs SQLite microseconds; over a network closing is a round trip."""
    resources = resources_of(request)
    async with resources.slots:
        with read_session(resources.engine) as session:
            try:
                yield session
            finally:
                if not resources.is_local:
                    await to_thread.run_sync(session.close)


async def _write_turn(request: Request, _viewer: Viewer) -> AsyncIterator[None]:
    resources = resources_of(request)
    async with resources.slots, resources.writers:
        yield


WriteTurn = Annotated[None, Depends(_write_turn, scope="function")]


def _write_session(request: Request, _turn: WriteTurn) -> Iterator[Session]:
    with write_session(resources_of(request).engine) as session:
        yield session


# A request asks for one of the two: asking for both would hold one slot while waiting for another.
ReadSession = Annotated[Session, Depends(_read_session, scope="function")]
WriteSession = Annotated[Session, Depends(_write_session, scope="function")]
