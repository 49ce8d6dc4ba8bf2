"""An upload: parsed as it arrives, written to a temporary file while it is hashed.

The event loop only moves blocks; writing, hashing and reading ahead run in the receivers' threads,
while the next block arrives.
"""

import asyncio
import hashlib
from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from dataclasses import dataclass, field
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any

import anyio
from anyio import to_thread
from fastapi import Request
from python_multipart.multipart import parse_options_header
from starlette.exceptions import HTTPException

from server.dependencies.form_parts import FormParts, file_name_of
from server.store.files import incoming_path

if TYPE_CHECKING:
    from server.intake import ReadAhead, ReadingAhead

_BLOCK = 1 << 20
_NOT_A_LOG = ("application/json", "application/x-www-form-urlencoded", "application/problem+json")


@dataclass(frozen=True, slots=True)
class ArrivedFile:
    """A received file under its temporary name, gone when the request ends unless kept."""

    path: Path
    name: str
    sha256: str
    n_bytes: int
    n_lines: int
    ahead: "ReadAhead | None" = None


@dataclass(frozen=True, slots=True)
class Arrived:
    """All that one request brought: form fields by name and the file, if there was one."""

    fields: dict[str, str]
    file: ArrivedFile | None


@dataclass(slots=True)
class _Sink:
    """Blocks on their way to the disk. `reader` follows the file, `ahead` is what it has read."""

    path: Path
    follow: "Callable[[Path], ReadingAhead] | None" = None
    waiting: list[bytes] = field(default_factory=list)
    n_waiting: int = 0
    n_bytes: int = 0
    n_lines: int = 0
    digest: Any = field(default_factory=hashlib.sha256)
    reader: "ReadingAhead | None" = None
    ahead: "ReadAhead | None" = None

    def add(self, block: bytes) -> None:
        self.waiting.append(block)
        self.n_waiting += len(block)

    def take(self) -> list[bytes]:
        taken, self.waiting, self.n_waiting = self.waiting, [], 0
        return taken

    def write_out(self, blocks: list[bytes]) -> None:
        with self.path.open("ab", buffering=0) as file:
            for block in blocks:
                file.write(block)
                self.digest.update(block)
                self.n_bytes += len(block)

    def following(self) -> "ReadingAhead | None":
        """What reads the file while it arrives, made where it is first asked for."""
        if self.reader is None and self.follow is not None:
            self.reader = self.follow(self.path)
        return self.reader

    def read_on(self) -> None:
        """Read what has been written by now."""
        if (reader := self.following()) is not None:
            reader.advance(self.n_bytes)

    def finish(self) -> None:
        self.write_out(self.take())
        if self.n_bytes >= _BLOCK and (reader := self.following()) is not None:
            self.ahead = reader.finish(self.n_bytes)
        self.n_lines = _count_lines(self.path) if self.ahead is None else self.ahead.n_lines

    def arrived(self, name: str) -> ArrivedFile:
        digest = self.digest.hexdigest()
        return ArrivedFile(self.path, name, digest, self.n_bytes, self.n_lines, self.ahead)


def _count_lines(path: Path) -> int:
    if not path.exists():
        return 0
    n_lines = 0
    with path.open("rb") as file:
        while block := file.read(_BLOCK):
            n_lines += block.count(b"\n")
    return n_lines


@asynccontextmanager
async def receive_upload(
    request: Request,
    *,
    files: Path,
    limiter: anyio.CapacityLimiter,
    file_field: str = "file",
    default_name: str = "log.csv",
    follow: "Callable[[Path], ReadingAhead] | None" = None,
) -> AsyncIterator[Arrived]:
    """The body as fields and a file: multipart, or the whole body as the file.

    `follow` gives what reads the file while it arrives.

    Raises
    ------
    HTTPException: 400 for a broken multipart body, 413 over a limit, 415 for another sort of body.
    """
    content_type, options = parse_options_header(request.headers.get("content-type"))
    path = await to_thread.run_sync(incoming_path, files, limiter=limiter)
    sink = _Sink(path, follow)
    try:
        if content_type == b"multipart/form-data":
            form = FormParts(sink.add, file_field)
            await _pump(request, sink, form.parser(options.get(b"boundary", b"")), limiter)
            name, has_file, fields = form.file_name or default_name, form.has_file, form.fields
        elif content_type.decode("latin-1") in _NOT_A_LOG:
            raise HTTPException(415, "Send multipart/form-data, or the log itself as text/csv.")
        else:
            await _pump(request, sink, None, limiter)
            name, has_file, fields = _named(request) or default_name, sink.n_bytes > 0, {}
        yield Arrived(fields, sink.arrived(name) if has_file else None)
    finally:
        if sink.reader is not None:
            sink.reader.stop()
        path.unlink(missing_ok=True)


async def _pump(
    request: Request,
    sink: _Sink,
    parse: Callable[[bytes], None] | None,
    limiter: anyio.CapacityLimiter,
) -> None:
    writing: asyncio.Future[None] | None = None
    reading: asyncio.Future[None] | None = None
    try:
        async for block in request.stream():
            if parse is None:
                sink.add(block)
            elif block:
                parse(block)
            if sink.n_waiting >= _BLOCK:
                if writing is not None:
                    await writing
                    if sink.follow is not None and (reading is None or reading.done()):
                        if reading is not None:
                            reading.result()
                        reading = _beside(sink.read_on, limiter)
                writing = _beside(partial(sink.write_out, sink.take()), limiter)
        if parse is not None:
            parse(b"")
    finally:  # no thread may hold the file when it is used or removed
        going_on = [work for work in (writing, reading) if work is not None]
        if going_on:
            await asyncio.wait(going_on)
    for work in going_on:
        work.result()
    await to_thread.run_sync(sink.finish, limiter=limiter)


def _beside(work: Callable[[], None], limiter: anyio.CapacityLimiter) -> asyncio.Future[None]:
    return asyncio.ensure_future(to_thread.run_sync(work, limiter=limiter))


def _named(request: Request) -> str | None:
    """The file name of a raw body: `?file_name=`, else Content-Disposition."""
    told = request.query_params.get("file_name")
    if told:
        return told
    _, options = parse_options_header(request.headers.get("content-disposition"))
    return file_name_of(options)
