"""Database, stored files and keys into one archive; `restore` is its twin.

The archive is a tar (compressed where its name ends in .gz or .tgz):
    database/*.jsonl  one per table, the same from SQLite and PostgreSQL
    files/...         originals that the database refers to, and recordings where they are kept
    keys/...          other files of the data folder (tokens and keys), with their modes
    manifest.json     what it is, the database's revision, size and SHA-256 of every member
"""

import hashlib
import io
import tarfile
import tempfile
import time
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import IO

from sqlalchemy import Connection, select

from server.actions.restore import restore
from server.errors import Conflict, NotFound
from server.settings import Settings
from server.store import tables as t
from server.store.database import current_revision, make_engine
from server.store.dump import FORMAT, MANIFEST, begin_snapshot, dump_table, tables_of
from server.store.files import original_path, recording_path
from server.store.identity import new_public_id
from server.store.types import dump_json

__all__ = ["BackupDone", "backup", "restore"]

# Originals are text and shrink at any level; recordings are compressed already.
COMPRESSION_LEVEL = 1


@dataclass(frozen=True, slots=True)
class BackupDone:
    n_rows: int
    n_files: int
    n_bytes: int


def backup(settings: Settings, target: Path) -> BackupDone:
    """Write database, stored files and keys as they stand at one moment; the service may run.

    Parameters
    ----------
    target : the archive, which must not be there yet. It is complete or absent.

    Returns
    -------
    BackupDone with how much was written.

    Raises
    ------
    Conflict: the target is there already.
    NotFound: the database has no tables, or a stored file that it refers to is missing.
    """
    if target.exists():
        raise Conflict(f"{target} is there already. Choose another name.")
    engine = make_engine(settings)
    try:
        revision = current_revision(engine)
        if revision is None:
            raise NotFound("There is no database to back up.")
        target.parent.mkdir(parents=True, exist_ok=True)
        temporary = target.with_name(f".{new_public_id()}-{target.name}")
        try:
            with begin_snapshot(engine) as connection, temporary.open("wb") as raw:
                done = _write(raw, connection, settings, revision, is_gzip=_is_gzip(target))
            temporary.rename(target)
        finally:
            temporary.unlink(missing_ok=True)
        return done
    finally:
        engine.dispose()


def _is_gzip(path: Path) -> bool:
    return path.name.endswith((".gz", ".tgz"))


def _write(
    raw: IO[bytes], connection: Connection, settings: Settings, revision: str, *, is_gzip: bool
) -> BackupDone:
    members: list[dict[str, object]] = []
    n_rows = n_files = 0
    with _open(raw, is_gzip=is_gzip) as archive:
        for table in tables_of(connection):
            # A tar member's size comes before its bytes, so the lines go through a file first.
            with tempfile.SpooledTemporaryFile(max_size=1 << 24) as spool:
                n_rows += _write_lines(spool, dump_table(connection, table)) - 1
                members.append(_add(archive, f"database/{table.name}.jsonl", spool))
        for name, path in _stored_files(connection, settings.files):
            if not path.is_file():
                raise NotFound(f"A stored file is missing: {path}")
            with path.open("rb") as file:
                members.append(_add(archive, name, file))
            n_files += 1
        for path in key_files(settings):
            with path.open("rb") as file:
                mode = path.stat().st_mode & 0o777
                members.append(_add(archive, f"keys/{path.name}", file, mode=mode))
        manifest = {
            "format": FORMAT,
            "revision": revision,
            "written_at": datetime.now(UTC).isoformat(),
            "members": members,
        }
        _add(archive, MANIFEST, io.BytesIO(dump_json(manifest)))
    return BackupDone(n_rows=n_rows, n_files=n_files, n_bytes=raw.tell())


def _open(raw: IO[bytes], *, is_gzip: bool) -> tarfile.TarFile:
    if is_gzip:
        return tarfile.open(fileobj=raw, mode="w:gz", compresslevel=COMPRESSION_LEVEL)
    return tarfile.open(fileobj=raw, mode="w")


def _write_lines(file: IO[bytes], lines: Iterable[bytes]) -> int:
    n = 0
    for line in lines:
        file.write(line)
        n += 1
    file.seek(0)
    return n


def _add(
    archive: tarfile.TarFile, name: str, file: IO[bytes], *, mode: int = 0o644
) -> dict[str, object]:
    """Add a member; gives its entry in the manifest."""
    digest = hashlib.file_digest(file, "sha256").hexdigest()  # type: ignore[arg-type]
    info = tarfile.TarInfo(name)
    info.size = file.seek(0, io.SEEK_END)
    info.mode = mode
    info.mtime = int(time.time())
    file.seek(0)
    archive.addfile(info, file)
    return {"name": name, "bytes": info.size, "sha256": digest}


def key_files(settings: Settings) -> list[Path]:
    """Files of the data folder that are neither database nor stored files: tokens and keys."""
    return sorted(
        path
        for path in settings.data.glob("*")
        if path.is_file() and not path.name.startswith((".", "benchledger.sqlite3"))
    )


def _stored_files(connection: Connection, files: Path) -> Iterator[tuple[str, Path]]:
    for sha256 in connection.execute(select(t.StoredFileRow.sha256)).scalars().all():
        path = original_path(files, sha256)
        yield f"files/{path.relative_to(files).as_posix()}", path
    for sha256 in connection.execute(select(t.RecordingRow.sha256)).scalars().all():
        path = recording_path(files, sha256)
        if path.is_file():  # else it is made from its original
            yield f"files/{path.relative_to(files).as_posix()}", path
