"""Stored files: originals byte for byte and recordings, each under its digest.

A file is written to a temporary name in `incoming/`, fsynced, and renamed to its place before
the transaction that refers to it commits; one that no row refers to is swept after a while.
"""

import fcntl
import hashlib
import os
import shutil
import time
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

from server.store.identity import new_public_id

ORIGINALS = "originals"
RECORDINGS = "recordings"
INCOMING = "incoming"
# Longer than any request between its file's rename and its commit.
ORPHAN_AGE_S = 3600.0


@dataclass(frozen=True, slots=True)
class StoredUpload:
    """A file that was sent, already in its place under `files`."""

    sha256: str
    name: str
    n_bytes: int
    path: Path


def incoming_path(files: Path) -> Path:
    """A fresh temporary name on the same file system as the stored files."""
    folder = files / INCOMING
    folder.mkdir(parents=True, exist_ok=True)
    return folder / f"{os.getpid()}-{new_public_id()}"


def original_path(files: Path, sha256: str) -> Path:
    return files / ORIGINALS / sha256[:2] / sha256


def recording_path(files: Path, sha256: str) -> Path:
    return files / RECORDINGS / sha256[:2] / f"{sha256}.parquet"


def keep_upload(
    files: Path, temporary: Path, *, name: str, sha256: str, n_bytes: int
) -> StoredUpload:
    """Bring a received file to its place; durable when this returns.

    The name is what the sender called it, without any folder.
    """
    path = original_path(files, sha256)
    keep(files, temporary, path)
    return StoredUpload(sha256=sha256, name=bare_name(name), n_bytes=n_bytes, path=path)


def bare_name(name: str) -> str:
    """What a sender called a file, without any folder."""
    return (name.replace("\\", "/").rsplit("/", 1)[-1].strip() or "log")[:200]


def keep_upload_from(files: Path, source: Path, *, name: str) -> StoredUpload:
    """Copy a file from elsewhere on this machine into the stored files."""
    temporary = incoming_path(files)
    digest = hashlib.sha256()
    n_bytes = 0
    with source.open("rb") as read, temporary.open("wb") as write:
        while block := read.read(1 << 20):
            digest.update(block)
            write.write(block)
            n_bytes += len(block)
    return keep_upload(files, temporary, name=name, sha256=digest.hexdigest(), n_bytes=n_bytes)


def keep(files: Path, temporary: Path, place: Path) -> None:
    """Rename a finished temporary file to its place, durably. Present already: only touched."""
    with _lock(files, fcntl.LOCK_SH):
        if place.exists():
            # The same content. Touched, so that the sweep sees it as young as a new one.
            os.utime(place)
            temporary.unlink()
            return
        place.parent.mkdir(parents=True, exist_ok=True)
        make_durable(temporary)
        temporary.rename(place)
        make_durable(place.parent)


def sweep(
    files: Path,
    *,
    unreferenced: Callable[[str, list[str]], set[str]],
    min_age_s: float = ORPHAN_AGE_S,
) -> int:
    """Remove temporary files and stored ones that no row refers to, if old enough.

    `unreferenced(kind, digests)` answers which of some digests no row knows, for kind
    "originals" or "recordings". Returns how many were removed.
    """
    too_young = time.time() - min_age_s
    removed = 0
    for path in _old(sorted((files / INCOMING).glob("*")), too_young):
        removed += _remove(files, path, too_young)
    for kind in (ORIGINALS, RECORDINGS):
        for folder in sorted((files / kind).glob("*")):
            paths = {p.name.split(".")[0]: p for p in _old(sorted(folder.glob("*")), too_young)}
            if not paths:
                continue
            for sha256 in unreferenced(kind, sorted(paths)):
                removed += _remove(files, paths[sha256], too_young)
    return removed


def _old(paths: Iterable[Path], too_young: float) -> list[Path]:
    return [p for p in paths if (age := _changed_at(p)) is not None and age <= too_young]


def _changed_at(path: Path) -> float | None:
    try:
        return path.stat().st_mtime
    except FileNotFoundError:  # another process renamed or removed it meanwhile
        return None


def _remove(files: Path, path: Path, too_young: float) -> int:
    # Alone with the file: an upload of the same content that came meanwhile has touched it.
    with _lock(files, fcntl.LOCK_EX):
        changed = _changed_at(path)
        if changed is None or changed > too_young:
            return 0
        path.unlink()
        return 1


@contextmanager
def _lock(files: Path, how: int) -> Iterator[None]:
    files.mkdir(parents=True, exist_ok=True)
    with (files / ".lock").open("a") as handle:
        fcntl.flock(handle, how)
        yield


def make_durable(path: Path) -> None:
    """Wait until what was written there is on the disk."""
    handle = os.open(path, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def copy_durably(source: Path, place: Path) -> None:
    """Copy a file to its final place, complete or not at all."""
    place.parent.mkdir(parents=True, exist_ok=True)
    temporary = place.with_name(f".{place.name}.{new_public_id()}")
    shutil.copyfile(source, temporary)
    make_durable(temporary)
    temporary.rename(place)
    make_durable(place.parent)
