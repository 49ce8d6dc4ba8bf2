"""What one process holds: engine, slots and pools. Made by `create_app`, found by requests."""

from dataclasses import dataclass, field

import anyio
from fastapi import Request
from sqlalchemy import Engine

from server.dependencies.recordings import LaterRecordings
from server.settings import Settings
from server.store.database import make_engine


@dataclass(frozen=True, slots=True)
class Resources:
    """`slots`: as many as the pool has connections, awaited before a session is made.

    `writers`: on SQLite one, so that a queue for the write lock holds no threads.
    `reductions`: threads where logs are read and reduced, apart from those that answer readers.
    `followers`: requests whose log is read while it arrives.
    `hashes`: passwords being hashed, each with 64 MiB.
    `recordings`: those that are written after the answer.
    """

    settings: Settings
    engine: Engine
    slots: anyio.Semaphore
    writers: anyio.Semaphore
    reductions: anyio.CapacityLimiter
    receivers: anyio.CapacityLimiter
    followers: anyio.Semaphore
    hashes: anyio.CapacityLimiter
    recordings: LaterRecordings
    is_local: bool = field(default=True)


def make_resources(settings: Settings) -> Resources:
    engine = make_engine(settings)
    is_local = engine.dialect.name == "sqlite"
    return Resources(
        settings=settings,
        engine=engine,
        slots=anyio.Semaphore(settings.pool_size, fast_acquire=True),
        writers=anyio.Semaphore(1 if is_local else settings.pool_size, fast_acquire=True),
        reductions=anyio.CapacityLimiter(1),
        receivers=anyio.CapacityLimiter(3),  # two that write, one that reads on
        followers=anyio.Semaphore(1),
        hashes=anyio.CapacityLimiter(settings.password_hashes),
        recordings=LaterRecordings(settings.files),
        is_local=is_local,
    )


def resources_of(request: Request) -> Resources:
    found: Resources = request.app.state.resources
    return found
