"""The spool: what waits to be sent, in a folder that outlives a lost network, a kill and a restart.

    waiting/ID/   item.json, bench.json, log    what is still to be sent
    refused/ID/   the same with the reason      what the server will not take
    sent/ID.json  which run it became
    new/          being written; worth nothing until it is renamed into waiting/

The key that makes sending repeatable is made before anything is sent and kept with the copy: the
server answers a key it knows with the run it stored. An id is made from server and key, so that the
same file spooled twice waits once.
"""

import hashlib
import json
import os
import shutil
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict, dataclass, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import Any
from uuid import uuid4

from server.errors import BenchledgerError

WAITING, REFUSED, SENT, NEW = "waiting", "refused", "sent", "new"
_OLD_S = 24 * 3600.0  # a copy left unfinished by a killed process
_RECEIPTS_S = 90 * 24 * 3600.0
_BLOCK = 1 << 20


@dataclass(frozen=True, slots=True)
class Item:
    """One file on its way. `told`: why it still waits, or why it was refused."""

    id: str
    key: str
    server: str
    name: str
    sha256: str
    n_bytes: int
    spooled_at: str
    n_tries: int = 0
    told: str | None = None


def spool_folder(given: Path | None) -> Path:
    """The given one, else XDG_STATE_HOME/benchledger (XDG Base Directory Specification)."""
    if given is not None:
        return given
    state = os.environ.get("XDG_STATE_HOME")
    home = Path(state) if state else Path.home() / ".local" / "state"
    return home / "benchledger"


def open_spool(folder: Path) -> Path:
    """Make the folders and sweep what a killed process left half written."""
    try:
        for name in (WAITING, REFUSED, SENT, NEW):
            (folder / name).mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError as error:
        raise BenchledgerError(
            f"The spool {folder} can't be used ({error.strerror}). Choose another with --spool."
        ) from error
    for left in (folder / NEW).iterdir():
        if _age_s(left) > _OLD_S:
            shutil.rmtree(left, ignore_errors=True)
    for receipt in (folder / SENT).glob("*.json"):
        if _age_s(receipt) > _RECEIPTS_S:
            receipt.unlink(missing_ok=True)
    return folder


def keep(spool: Path, log: Path, *, bench_file: bytes, bench_json: bytes, server: str) -> Item:
    """Copy a log and what describes it into the spool; on return it is on the disk for good."""
    making = spool / NEW / uuid4().hex
    making.mkdir(mode=0o700)
    try:
        digest, n_bytes = hashlib.sha256(), 0
        with log.open("rb") as source, (making / "log").open("wb") as copy:
            while block := source.read(_BLOCK):
                digest.update(block)
                n_bytes += len(block)
                copy.write(block)
            _sync(copy.fileno(), copy)
        sha256 = digest.hexdigest()
        digest.update(hashlib.sha256(bench_file).digest())
        key = digest.hexdigest()
        item = Item(
            id=hashlib.sha256(f"{server}\0{key}".encode()).hexdigest()[:20],
            key=key,
            server=server,
            name=log.name,
            sha256=sha256,
            n_bytes=n_bytes,
            spooled_at=datetime.now(UTC).isoformat(timespec="seconds"),
        )
        _write(making / "bench.json", bench_json)
        _write(making / "item.json", json.dumps(asdict(item)).encode())
        _sync_folder(making)
        _put_in_place(making, folder_of(spool, item))
    finally:
        shutil.rmtree(making, ignore_errors=True)
    _remove(spool, spool / REFUSED / item.id)
    return find(spool, item.id) or item


def folder_of(spool: Path, item: Item, *, state: str = WAITING) -> Path:
    return spool / state / item.id


def find(spool: Path, item_id: str, *, state: str = WAITING) -> Item | None:
    try:
        told = json.loads((spool / state / item_id / "item.json").read_bytes())
    except FileNotFoundError:
        return None
    except ValueError as error:
        place = spool / state / item_id
        raise BenchledgerError(f"{place} is damaged: send that file again, then remove it.") from (
            error
        )
    return Item(**told)


def items(spool: Path, *, state: str = WAITING) -> list[Item]:
    """What lies there, in the order it was spooled."""
    found = (find(spool, entry.name, state=state) for entry in (spool / state).iterdir())
    return sorted((i for i in found if i is not None), key=lambda i: (i.spooled_at, i.name))


def note_try(spool: Path, item: Item, *, told: str) -> Item:
    """Count a try that came to nothing."""
    noted = replace(item, n_tries=item.n_tries + 1, told=told)
    write_durably(folder_of(spool, item) / "item.json", json.dumps(asdict(noted)).encode())
    return noted


def put_aside(spool: Path, item: Item, *, reason: str) -> None:
    """Keep a refused file with the reason, out of the way of the others."""
    note_try(spool, item, told=reason)
    aside = folder_of(spool, item, state=REFUSED)
    _remove(spool, aside)
    os.rename(folder_of(spool, item), aside)
    _sync_folder(aside.parent)


def mark_sent(spool: Path, item: Item, *, run_id: str, page: str | None) -> None:
    """Write the receipt, then let the copy go. Killed between the two, it is sent once more under
    the same key, which the server answers with the same run."""
    receipt = {**asdict(item), "run": run_id, "page": page}
    write_durably(spool / SENT / f"{item.id}.json", json.dumps(receipt).encode())
    _remove(spool, folder_of(spool, item))


def receipt_of(spool: Path, item_id: str) -> dict[str, Any] | None:
    try:
        return dict(json.loads((spool / SENT / f"{item_id}.json").read_bytes()))
    except FileNotFoundError:
        return None


@contextmanager
def turn(spool: Path, *, on_wait: str, tell: Any) -> Iterator[None]:
    """One process sends from a spool at a time; the lock goes with the process that held it."""
    with (spool / "lock").open("a+b") as file:
        if not _try_lock(file.fileno()):
            tell(on_wait)
            while not _try_lock(file.fileno()):
                time.sleep(0.1)
        yield


def _try_lock(handle: int) -> bool:
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except BlockingIOError:
        return False
    return True


def _put_in_place(making: Path, target: Path) -> None:
    try:
        os.rename(making, target)
    except OSError:
        if not (target / "item.json").exists():
            raise
        return  # it waits already, the same to the byte
    _sync_folder(target.parent)


def _remove(spool: Path, folder: Path) -> None:
    """Out of its place in one step, then away."""
    aside = spool / NEW / uuid4().hex
    try:
        os.rename(folder, aside)
    except FileNotFoundError:
        return
    shutil.rmtree(aside, ignore_errors=True)


def _write(path: Path, content: bytes) -> None:
    with path.open("wb") as file:
        file.write(content)
        _sync(file.fileno(), file)


def write_durably(path: Path, content: bytes) -> None:
    """Whole and on the disk, or as it was."""
    fresh = path.with_name(f".{path.name}.{uuid4().hex}")
    _write(fresh, content)
    os.replace(fresh, path)
    _sync_folder(path.parent)


def _sync(handle: int, file: Any) -> None:
    file.flush()
    os.fsync(handle)


def _sync_folder(folder: Path) -> None:
    handle = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def _age_s(path: Path) -> float:
    try:
        return time.time() - path.stat().st_mtime
    except FileNotFoundError:
        return 0.0
