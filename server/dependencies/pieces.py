"""A piece of a file, written and synced before it is acknowledged.

A process that ends in between loses that piece alone: the row says how far the file is good, and
what lies behind is written over. The words are those of draft-ietf-httpbis-resumable-upload.
"""

import hashlib
import os
from collections.abc import AsyncIterator
from functools import partial
from pathlib import Path
from typing import Annotated

from anyio import to_thread
from fastapi import Depends, Header, Request
from starlette.exceptions import HTTPException

from server.actions.upload_in_pieces import (
    PartialUpload,
    check_offset,
    end_upload,
    take_piece,
    upload_state,
)
from server.dependencies.keeping import KeptUpload, look_and_keep
from server.dependencies.people import Drafter
from server.dependencies.resources import Resources, resources_of
from server.dependencies.threads import in_receiver, in_session
from server.dependencies.uploads import ArrivedFile
from server.errors import Conflict, InvalidInput, NotFound, Problem, Unusable
from server.model.views import Tester
from server.store.database import write_session
from server.store.files import incoming_path
from server.store.partial_files import alone_with, partial_path, remove_partial

PIECE_BYTES = 16 << 20
_BLOCK = 1 << 20


async def _piece(
    request: Request,
    upload_id: str,
    tester: Drafter,
    upload_offset: Annotated[
        int | None, Header(ge=0, le=2**53, description="Needed: where this piece begins")
    ] = None,
) -> PartialUpload:
    resources = resources_of(request)
    find = partial(upload_state, public_id=upload_id, tester=tester)
    upload = await in_session(
        resources, find
    )  # whose it is comes before what is wrong with the piece
    if upload_offset is None:
        problem = Problem("it is missing.", "Say where this piece begins.", field="Upload-Offset")
        raise InvalidInput("upload", [problem])
    if upload.file_sha256 is not None:
        raise Conflict("This upload became a run already.")
    path = partial_path(resources.settings.files, upload_id)
    with alone_with(path) as handle:
        upload = await in_session(resources, find)  # nobody else moves it now
        check_offset(upload, upload_offset)
        if os.fstat(handle).st_size < upload.n_received:
            raise NotFound("What arrived of this upload is gone. Begin again.")
        n_bytes = await _write(request, resources, handle, upload)
        acknowledge = partial(
            _acknowledge, resources, upload_id, tester, offset=upload_offset, n_bytes=n_bytes
        )
        async with resources.slots, resources.writers:
            upload = await to_thread.run_sync(acknowledge)
    return upload


Piece = Annotated[PartialUpload, Depends(_piece, scope="function")]


async def _write(request: Request, resources: Resources, handle: int, upload: PartialUpload) -> int:
    at = upload.n_received
    async for block in request.stream():
        if at + len(block) > upload.n_bytes:
            raise InvalidInput(
                "upload",
                [
                    Problem(
                        f"the piece goes over the {upload.n_bytes} bytes that were told.",
                        "Begin again with the file's true length.",
                        field="n_bytes",
                    )
                ],
            )
        if block:
            await in_receiver(resources, partial(os.pwrite, handle, block, at))
            at += len(block)
    if at == upload.n_received and not upload.is_complete:
        raise HTTPException(400, "The piece is empty.")
    await in_receiver(resources, partial(os.fsync, handle))
    return at - upload.n_received


def _acknowledge(
    resources: Resources, upload_id: str, tester: Tester, *, offset: int, n_bytes: int
) -> PartialUpload:
    with write_session(resources.engine) as session:
        return take_piece(
            session, public_id=upload_id, tester=tester, offset=offset, n_bytes=n_bytes
        )


Finished = KeptUpload | None


async def _finished(request: Request, tester: Drafter, piece: Piece) -> AsyncIterator[Finished]:
    """The whole file in its place once the last piece is there; None before, and for a run.

    What arrived is removed after the write that knows the file has been committed, so that an end
    in between loses nothing.
    """
    if not piece.is_complete or piece.is_for_run:
        yield None
        return
    resources = resources_of(request)
    files = resources.settings.files
    whole = await in_receiver(resources, partial(whole_file, files, piece))
    try:
        yield await in_receiver(resources, partial(look_and_keep, request, whole, {}))
    except Unusable:
        give_up = partial(_give_up, resources, piece.public_id, tester)
        async with resources.slots, resources.writers:
            await to_thread.run_sync(give_up)
        remove_partial(files, [piece.public_id])
        raise
    finally:
        whole.path.unlink(missing_ok=True)
    remove_partial(files, [piece.public_id])


FinishedUpload = Annotated[Finished, Depends(_finished, scope="function")]


def _give_up(resources: Resources, upload_id: str, tester: Tester) -> None:
    with write_session(resources.engine) as session:
        end_upload(session, public_id=upload_id, tester=tester)


def whole_file(files: Path, upload: PartialUpload) -> ArrivedFile:
    """The finished file under a second name, with its digest. What a broken piece left behind its
    end is cut off.

    Raises
    ------
    NotFound: what arrived is there no more.
    """
    path, linked = partial_path(files, upload.public_id), incoming_path(files)
    if not path.exists() or path.stat().st_size < upload.n_bytes:
        raise NotFound("What arrived of this upload is gone. Begin again.")
    os.truncate(path, upload.n_bytes)
    os.link(path, linked)
    digest = hashlib.sha256()
    n_lines = 0
    with linked.open("rb") as file:
        while block := file.read(_BLOCK):
            digest.update(block)
            n_lines += block.count(b"\n")
    return ArrivedFile(linked, upload.file_name, digest.hexdigest(), upload.n_bytes, n_lines)


def upload_headers(upload: PartialUpload) -> dict[str, str]:
    """Where an upload stands, in the draft's words."""
    return {
        "Upload-Offset": str(upload.n_received),
        "Upload-Length": str(upload.n_bytes),
        "Upload-Complete": "?1" if upload.is_complete else "?0",
        "Cache-Control": "no-store",
    }
