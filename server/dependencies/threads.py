"""Work handed to the right threads: a short read, a reduction, what receives a file."""

import threading
from collections.abc import Callable
from functools import cache
from typing import TypeVar

from anyio import to_thread
from sqlalchemy.orm import Session

from server.actions.give_way import give_way
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

    def call() -> T:
        start_parsers()
        return work()

    return await to_thread.run_sync(call, limiter=resources.reductions)


@cache
def start_parsers() -> None:
    """Start the threads that parse logs, which give way to those that answer.

    The library starts them with its first use and keeps them; they take after the thread that
    does. A process that reads no log has none.
    """

    def start() -> None:
        give_way()
        import polars as pl

        pl.read_csv(b"0\n", has_header=False)

    first = threading.Thread(target=start, name="starts the parsers")
    first.start()
    first.join()


async def in_receiver(resources: Resources, work: Callable[[], T]) -> T:
    """What happens to a file that has just arrived."""
    return await to_thread.run_sync(work, limiter=resources.receivers)
