"""What a sender starts with: a log as a file, or a small table typed in the page."""

import hashlib
from collections.abc import AsyncIterator
from dataclasses import dataclass
from functools import partial
from typing import Annotated

from fastapi import Depends, Request

from server.dependencies import Viewer
from server.dependencies.resources import resources_of
from server.dependencies.threads import in_receiver
from server.dependencies.uploads import ArrivedFile, receive_upload
from server.errors import Problem, Unusable
from server.sign_in import FORM_FIELD, check_form, check_same_site
from server.store.files import StoredUpload, incoming_path, keep_upload

TABLE_FIELD = "table"
TYPED_NAME = "readings typed in.csv"


@dataclass(frozen=True, slots=True)
class KeptUpload:
    """A file in its place, and what is already known of the run by how it came."""

    upload: StoredUpload
    n_lines: int
    form: dict[str, str]


async def _kept_file(request: Request, viewer: Viewer) -> AsyncIterator[KeptUpload]:
    """The posted log, or the table typed, in its place; refused if nothing can be read."""
    check_same_site(request)
    resources = resources_of(request)
    files = resources.settings.files
    async with receive_upload(request, files=files, limiter=resources.receivers) as arrived:
        if viewer is not None:
            check_form(request, arrived.fields.get(FORM_FIELD))
        sent = arrived.file
        typed = arrived.fields.get(TABLE_FIELD, "").strip()
        if typed and (sent is None or sent.n_bytes == 0):
            keep_typed = partial(_look_and_keep_typed, request, typed)
            yield await in_receiver(resources, keep_typed)
            return
        if sent is None or sent.n_bytes == 0:
            problem = Problem("No file came along.", "Choose the log first.", field="file")
            raise Unusable("the form", [problem])
        keep = partial(_look_and_keep, request, sent)
        yield KeptUpload(await in_receiver(resources, keep), sent.n_lines, {})


def _look_and_keep(request: Request, sent: ArrivedFile) -> StoredUpload:
    from server.actions.reduce_log import limits_of
    from server.intake import preview_log

    settings = resources_of(request).settings
    preview_log(sent.path, name=sent.name, limits=limits_of(settings))
    return keep_upload(
        settings.files, sent.path, name=sent.name, sha256=sent.sha256, n_bytes=sent.n_bytes
    )


def _look_and_keep_typed(request: Request, table: str) -> KeptUpload:
    """A table typed in the page becomes a file like any other, said to be readings by hand."""
    files = resources_of(request).settings.files
    content = ("\n".join(table.splitlines()) + "\n").encode()
    path = incoming_path(files)
    try:
        path.write_bytes(content)
        digest, n_lines = hashlib.sha256(content).hexdigest(), content.count(b"\n")
        sent = ArrivedFile(path, TYPED_NAME, digest, len(content), n_lines)
        return KeptUpload(_look_and_keep(request, sent), n_lines, {"run.kind": "hand readings"})
    finally:
        path.unlink(missing_ok=True)


KeptFile = Annotated[KeptUpload, Depends(_kept_file, scope="function")]
