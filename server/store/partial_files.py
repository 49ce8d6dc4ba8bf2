"""Files on their way in pieces, each under its upload's id until it is whole."""

import fcntl
import os
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path

from server.errors import Conflict

PARTIAL = "partial"


def partial_path(files: Path, public_id: str) -> Path:
    folder = files / PARTIAL
    folder.mkdir(parents=True, exist_ok=True)
    return folder / public_id


@contextmanager
def alone_with(path: Path) -> Iterator[int]:
    """The file, open for writing, for one request at a time. Raises Conflict for a second."""
    handle = os.open(path, os.O_RDWR | os.O_CREAT, 0o600)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as error:
            raise Conflict("Another piece of this upload is under way. Ask where it is.") from error
        yield handle
    finally:
        os.close(handle)


def remove_partial(files: Path, public_ids: Sequence[str]) -> None:
    for public_id in public_ids:
        partial_path(files, public_id).unlink(missing_ok=True)


def old_partial_ids(files: Path, *, min_age_s: float) -> list[str]:
    """Ids of the files that nobody wrote to for a while."""
    too_young = time.time() - min_age_s
    found = []
    for path in sorted((files / PARTIAL).glob("*")):
        try:
            if path.stat().st_mtime <= too_young:
                found.append(path.name)
        except FileNotFoundError:  # it became whole meanwhile
            continue
    return found
