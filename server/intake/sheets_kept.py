"""Sheets that were written out a moment ago: the steps of sending a run ask for the same again."""

from __future__ import annotations

from collections import OrderedDict
from pathlib import Path
from threading import Lock

from server.intake.sheet import SheetRead, write_sheet_as_text

_MOST_KEPT = 4
_MOST_BYTES = 8 << 20
_Key = tuple[str, int, int, str | None]
_kept: OrderedDict[_Key, tuple[SheetRead, bytes]] = OrderedDict()
_lock = Lock()


def sheet_text(path: Path, target: Path, *, name: str, sheet: str | None) -> SheetRead:
    """As `write_sheet_as_text`; small ones are kept in memory for the next time.

    A stored file never changes under its name; one that does has another time or size.
    """
    stat = path.stat()
    key = (str(path), stat.st_mtime_ns, stat.st_size, sheet)
    with _lock:
        found = _kept.get(key)
        if found is not None:
            _kept.move_to_end(key)
    if found is not None:
        target.write_bytes(found[1])
        return found[0]
    read = write_sheet_as_text(path, target, name=name, sheet=sheet)
    if target.stat().st_size <= _MOST_BYTES:
        with _lock:
            _kept[key] = (read, target.read_bytes())
            while len(_kept) > _MOST_KEPT:
                _kept.popitem(last=False)
    return read
