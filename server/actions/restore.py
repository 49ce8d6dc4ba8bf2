"""Read an archive that `backup` wrote into an empty database and data folder."""

import hashlib
import os
import shutil
import tarfile
import tempfile
from dataclasses import dataclass
from pathlib import Path, PurePosixPath
from typing import Any

from sqlalchemy import Engine, select

from server.actions.erase_account import erase_account
from server.errors import Conflict, Problem, Unusable
from server.settings import Settings
from server.store.database import (
    current_revision,
    knows_revision,
    make_engine,
    migrate,
    write_session,
)
from server.store.dump import (
    FORMAT,
    MANIFEST,
    defer_keys,
    empty_tables,
    load_table,
    set_counters,
    tables_of,
)
from server.store.erasures import add_erasures, read_erasures
from server.store.files import copy_durably
from server.store.tables import TesterRow
from server.store.types import load_json


@dataclass(frozen=True, slots=True)
class RestoreDone:
    n_rows: int
    n_files: int


def restore(settings: Settings, source: Path, *, replace: bool = False) -> RestoreDone:
    """Restore a backup, whichever of the two databases it was made from.

    Everything is unpacked beside the data folder and checked against its SHA-256 before anything
    is changed; then the files, and the rows in one transaction. The service must not be running.
    Accounts that were erased since the backup was made are erased again: those that the data folder
    names, and those that the archive names.

    Parameters
    ----------
    source : the archive.
    replace : overwrite a database that holds something; its rows are removed. Stored files of it
        that nothing refers to any more go with the worker's sweep.

    Raises
    ------
    Conflict: the target holds data and `replace` is not given.
    Unusable: not a backup of ours, damaged, or of a newer version.
    """
    settings.data.mkdir(parents=True, exist_ok=True)
    engine = make_engine(settings)
    try:
        if _holds_data(engine) and not replace:
            raise Conflict("There is data already. Restore with --replace to overwrite it.")
        with tempfile.TemporaryDirectory(dir=settings.data, prefix=".restore-") as folder:
            manifest = _unpack(source, Path(folder))
            revision = str(manifest["revision"])
            if not knows_revision(settings, revision=revision):
                raise _refusal(source, "it is of a newer version.", "Update this one first.")
            erased = read_erasures(settings.data)
            n_files = _place_files(Path(folder), settings)
            add_erasures(settings.data, erased.items())
            n_rows = _load_rows(engine, settings, Path(folder), revision)
        migrate(settings)
        _erase_again(engine, settings)
        return RestoreDone(n_rows=n_rows, n_files=n_files)
    finally:
        engine.dispose()


def _erase_again(engine: Engine, settings: Settings) -> None:
    erased = read_erasures(settings.data)
    with write_session(engine) as session:
        there = session.execute(
            select(TesterRow.id).where(
                TesterRow.public_id.in_(erased), TesterRow.erased_at.is_(None)
            )
        ).scalars()
        for tester_id in list(there):
            erase_account(session, tester_id=tester_id, is_again=True)


def _holds_data(engine: Engine) -> bool:
    if current_revision(engine) is None:
        return False
    with engine.connect() as connection:
        return any(
            connection.execute(select(table).limit(1)).first() is not None
            for table in tables_of(connection)
        )


def _unpack(source: Path, folder: Path) -> dict[str, Any]:
    """Unpack and check every member; gives the manifest."""
    try:
        with tarfile.open(source) as archive:
            # The filter refuses absolute names, "..", links out of the folder and devices.
            archive.extractall(folder, filter="data")
    except FileNotFoundError as error:
        raise _refusal(source, "there is no such file.", "Check the path.") from error
    except (tarfile.TarError, EOFError, OSError) as error:
        raise _refusal(source, f"it can't be unpacked ({error}).", "Take another copy.") from error
    try:
        manifest = load_json((folder / MANIFEST).read_bytes())
    except (FileNotFoundError, ValueError) as error:
        raise _refusal(source, "it is not a whole backup.", "Take another copy.") from error
    if manifest.get("format") != FORMAT:
        raise _refusal(source, "its format is not known here.", "Use the version that wrote it.")
    for member in manifest["members"]:
        path = folder / PurePosixPath(member["name"])
        if not path.is_file() or _sha256(path) != member["sha256"]:
            raise _refusal(source, f"{member['name']} is damaged.", "Take another copy.")
    return dict(manifest)


def _place_files(folder: Path, settings: Settings) -> int:
    n = 0
    for path in sorted((folder / "files").rglob("*")):
        if path.is_file():
            copy_durably(path, settings.files / path.relative_to(folder / "files"))
            n += 1
    for path in sorted((folder / "keys").glob("*")):
        place = settings.data / path.name
        place.unlink(missing_ok=True)
        shutil.copyfile(path, place)
        os.chmod(place, path.stat().st_mode & 0o777)
    return n


def _load_rows(engine: Engine, settings: Settings, folder: Path, revision: str) -> int:
    """Bring the tables to the backup's revision, empty them, insert the rows: one transaction."""
    at = current_revision(engine)
    if at is None:
        migrate(settings, revision=revision)
    if at is not None and at != revision:
        raise Conflict(
            f"The tables are at {at}, the backup at {revision}. "
            "Restore into a database without tables."
        )
    n = 0
    writer = engine.execution_options(is_writer=True)
    with writer.begin() as connection:
        tables = tables_of(connection)
        defer_keys(connection)
        empty_tables(connection, tables)
        for table in tables:
            path = folder / "database" / f"{table.name}.jsonl"
            with path.open("rb") as lines:
                n += load_table(connection, table, lines)
        set_counters(connection, tables)
    return n


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _refusal(source: Path, message: str, remedy: str) -> Unusable:
    return Unusable(source.name, [Problem(message, remedy)])
