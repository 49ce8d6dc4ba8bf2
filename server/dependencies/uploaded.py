"""The log of a request: the part that came along, or a file that had come in pieces before."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from functools import partial

from server.actions.upload_in_pieces import PartialUpload, whole_upload
from server.dependencies.pieces import whole_file
from server.dependencies.resources import Resources
from server.dependencies.threads import in_receiver, in_session
from server.dependencies.uploads import Arrived, ArrivedFile
from server.errors import InvalidInput, Problem
from server.model.views import Tester
from server.store.files import StoredUpload, bare_name, original_path
from server.store.partial_files import remove_partial

_REMEDY = "Send the log as the part “file”, or as the body itself."


@asynccontextmanager
async def log_of(
    resources: Resources, tester: Tester, arrived: Arrived
) -> AsyncIterator[tuple[ArrivedFile | StoredUpload, PartialUpload | None]]:
    """The log, and the upload in pieces that brought it; stored already if a run has taken that.

    What arrived in pieces is removed after the write that takes it has been committed, so that an
    end in between loses nothing.

    Raises
    ------
    InvalidInput: no log, an empty one, or two. NotFound, Conflict: as `whole_upload`.
    """
    upload_id = arrived.fields.get("upload")
    if not upload_id:
        yield _sent_file(arrived), None
        return
    if arrived.file is not None:
        message = "the log is named twice, as “file” and as “upload”."
        raise InvalidInput("request", [Problem(message, "Send one of the two.", field="upload")])
    find = partial(whole_upload, public_id=upload_id, tester=tester)
    upload = await in_session(resources, find)
    files = resources.settings.files
    if upload.file_sha256 is not None:
        path = original_path(files, upload.file_sha256)
        name = bare_name(upload.file_name)
        yield StoredUpload(upload.file_sha256, name, upload.n_bytes, path), upload
        return
    whole = await in_receiver(resources, partial(whole_file, files, upload))
    try:
        yield whole, upload
    finally:
        whole.path.unlink(missing_ok=True)
    remove_partial(files, [upload.public_id])


def _sent_file(arrived: Arrived) -> ArrivedFile:
    if arrived.file is None or arrived.file.n_bytes == 0:
        message = "there is no log in this request." if arrived.file is None else "it is empty."
        raise InvalidInput("request", [Problem(message, _REMEDY, field="file")])
    return arrived.file
