"""A file that has arrived, looked at and brought to its place, whatever way it came."""

from dataclasses import dataclass

from fastapi import Request

from server.dependencies.resources import resources_of
from server.dependencies.uploads import ArrivedFile
from server.store.files import StoredUpload, keep_upload


@dataclass(frozen=True, slots=True)
class KeptUpload:
    """A file in its place, and what is already known of the run by how it came."""

    upload: StoredUpload
    n_lines: int
    headers: tuple[str, ...]
    form: dict[str, str]


def look_and_keep(request: Request, sent: ArrivedFile, form: dict[str, str]) -> KeptUpload:
    """Keep a file that has a head to look at. Raises UnusableLog where nothing can be read."""
    from server.actions.reduce_log import limits_of
    from server.intake import preview_log

    settings = resources_of(request).settings
    seen = preview_log(sent.path, name=sent.name, limits=limits_of(settings))
    upload = keep_upload(
        settings.files, sent.path, name=sent.name, sha256=sent.sha256, n_bytes=sent.n_bytes
    )
    headers = tuple(column.header for column in seen.columns)
    return KeptUpload(upload, sent.n_lines, headers, form)
