"""Which accounts were erased, beside the database: a backup from before is told again.

One line of JSON each, an account's public id and the time, nothing else. Lines are only added.
"""

import os
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path

from server.store.types import dump_json, load_json

ERASURES_NAME = "erasures.jsonl"


def note_erasure(data: Path, *, public_id: str, at: datetime) -> None:
    """Add a line, on disk when this returns. Called before the commit: one line too many erases
    after a restore what its owner asked to have erased; one too few would bring it back."""
    line = dump_json({"tester": public_id, "at": at.isoformat(timespec="seconds")}) + b"\n"
    opened = os.open(data / ERASURES_NAME, os.O_WRONLY | os.O_CREAT | os.O_APPEND, 0o600)
    try:
        os.write(opened, line)
        os.fsync(opened)
    finally:
        os.close(opened)


def read_erasures(data: Path) -> dict[str, str]:
    """Public id of each erased account -> when."""
    path = data / ERASURES_NAME
    if not path.is_file():
        return {}
    found: dict[str, str] = {}
    for line in path.read_bytes().splitlines():
        try:
            one = load_json(line)
            found[str(one["tester"])] = str(one["at"])
        except (ValueError, KeyError, TypeError):
            # A line cut off by a crash: its change was not committed either.
            continue
    return found


def add_erasures(data: Path, known: Iterable[tuple[str, str]]) -> None:
    """Put back lines that a restored backup did not have."""
    there = read_erasures(data)
    for public_id, at in known:
        if public_id not in there:
            note_erasure(data, public_id=public_id, at=datetime.fromisoformat(at))
