"""A recording with lines that can't be read: a copy in which those lines are comments."""

import codecs
from pathlib import Path

from server.actions.reduce_log import limits_of, read_described_log
from server.errors import UnusableLog
from server.model.bench import Bench
from server.settings import Settings

MOST = 1000
_MARK = b"# can't be read: "


def readable(log: Path, *, bench: Bench) -> tuple[Path, int]:
    """The log itself where it can be read; else a copy beside it, and how many lines were at fault.

    The recording stays as it is, to the byte.

    Raises
    ------
    UnusableLog: something else is in the way, or over a thousand lines are.
    """
    bad: set[int] = set()
    path = log
    while True:
        try:
            read_described_log(path, file_name=log.name, bench=bench, limits=limits_of(Settings()))
        except UnusableLog as refusal:
            rows = {p.row for p in refusal.problems if p.row is not None} - bad
            if not rows or len(bad) + len(rows) > MOST:
                raise
            bad |= rows
            path = _commented(log, bad, refusal)
        else:
            return path, len(bad)


def _commented(log: Path, bad: set[int], refusal: UnusableLog) -> Path:
    content = log.read_bytes()
    if content.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
        raise refusal
    lines = content.split(b"\n")
    for row in bad:
        if row <= len(lines):
            lines[row - 1] = _MARK + lines[row - 1]
    copy = log.with_name(f"{log.stem}-readable{log.suffix}")
    copy.write_bytes(b"\n".join(lines))
    return copy
