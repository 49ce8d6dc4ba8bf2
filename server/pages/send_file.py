"""What a sender starts with: a log as a file, or a small table typed in the page."""

import hashlib
from collections.abc import AsyncIterator
from functools import partial
from typing import Annotated

from fastapi import Depends, Request

from server.dependencies import Viewer
from server.dependencies.keeping import KeptUpload, look_and_keep
from server.dependencies.resources import resources_of
from server.dependencies.threads import in_receiver
from server.dependencies.uploads import ArrivedFile, receive_upload
from server.errors import Problem, Unusable
from server.sign_in import FORM_FIELD, check_form, check_same_site
from server.store.files import incoming_path

TABLE_FIELD = "table"
TYPED_NAME = "readings typed in.csv"


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
            keep_typed = partial(keep_table, request, typed)
            yield await in_receiver(resources, keep_typed)
            return
        if sent is None or sent.n_bytes == 0:
            problem = Problem(
                "No file came along, or an empty one.", "Choose a log with readings.", field="file"
            )
            raise Unusable("the form", [problem])
        yield await in_receiver(resources, partial(look_and_keep, request, sent, {}))


def keep_table(request: Request, table: str, *, name: str = TYPED_NAME) -> KeptUpload:
    """A table typed in the page becomes a file like any other, said to be readings by hand."""
    files = resources_of(request).settings.files
    content = ("\n".join(table.splitlines()) + "\n").encode()
    path = incoming_path(files)
    try:
        path.write_bytes(content)
        digest, n_lines = hashlib.sha256(content).hexdigest(), content.count(b"\n")
        sent = ArrivedFile(path, name, digest, len(content), n_lines)
        return look_and_keep(request, sent, {"run.kind": "hand readings"})
    finally:
        path.unlink(missing_ok=True)


KeptFile = Annotated[KeptUpload, Depends(_kept_file, scope="function")]
