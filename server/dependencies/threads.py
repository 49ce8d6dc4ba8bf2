"""Work handed to the right threads: a short read, a reduction, what receives a file."""

from collections.abc import Callable
from typing import TypeVar

from anyio import to_thread
from sqlalchemy.orm import Session

from server.dependencies.resources import Resources
from server.store.database import read_session

T = TypeVar("T")


async def in_session(resources: Resources, work: Callable[[Session], T]) -> T:
    """A short piece of reading behind a slot; the session is closed when this returns."""

    def call() -> T:
        with read_session(resources.engine) as session:
            return work(session)

    async with resources.slots:
        return await to_thread.run_sync(call)


async def in_reduction(resources: Resources, work: Callable[[], T]) -> T:
    """Numerics, apart from the threads that answer readers."""
    return await to_thread.run_sync(work, limiter=resources.reductions)


async def in_receiver(resources: Resources, work: Callable[[], T]) -> T:
    """What happens to a file that has just arrived."""
    return await to_thread.run_sync(work, limiter=resources.receivers)
