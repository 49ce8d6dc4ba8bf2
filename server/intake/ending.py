"""The end of a log: a last line that was cut off reads as a shorter number, so it is looked at."""

from __future__ import annotations

import re
from dataclasses import dataclass

from server.intake.cells import tidy
from server.intake.dialect import Dialect, split_line
from server.intake.text import Text, decode

_TAIL_BYTES = 1 << 16
_COMPARED = 20


@dataclass(frozen=True, slots=True)
class Ending:
    """`end` is the byte where the whole lines end. `cut` is the text of a line kept out."""

    end: int
    cut: str | None = None
    lacks_newline: bool = False


def find_ending(text: Text, dialect: Dialect) -> Ending:
    """Whether the last line is whole.

    A line without a line end is whole if it has every column and its last cell is written as
    long as those above it: as many digits behind the mark as the most of them, or, where none has
    a mark, as many digits as one of them. Otherwise nothing tells "12" from a cut "1234", and the
    line is kept out.
    """
    with text.path.open("rb") as file:
        file.seek(max(text.bom_bytes, text.n_bytes - _TAIL_BYTES))
        raw = file.read()
    stripped = raw.rstrip(b"\x00\x1a")  # old loggers pad the last block
    padding = len(raw) - len(stripped)
    if stripped.endswith((b"\n", b"\r")) or not stripped.strip():
        return Ending(text.n_bytes - padding)
    at = stripped.rfind(b"\n") + 1
    last = decode(stripped[at:]).strip("\r")
    above = [decode(x) for x in stripped[:at].split(b"\n")[-_COMPARED:] if x.strip()]
    rows = [r for r in (split_line(x, dialect.separator) for x in above) if len(r) == dialect.width]
    if not last.strip():
        return Ending(text.n_bytes - padding - len(stripped) + at)
    cells = split_line(last, dialect.separator)
    if len(cells) == dialect.width and _is_whole(cells[-1], [r[-1] for r in rows]):
        return Ending(text.n_bytes - padding, lacks_newline=True)
    return Ending(text.n_bytes - padding - len(stripped) + at, cut=last[:200])


def _is_whole(cell: str, above: list[str]) -> bool:
    shapes = {re.sub(r"\d", "0", tidy(c)) for c in above}
    shape = re.sub(r"\d", "0", tidy(cell))
    most = max((_decimals(s) for s in shapes), default=0)
    return shape in shapes and _decimals(shape) == most


def _decimals(shape: str) -> int:
    found = re.search(r"[.,](0*)", shape)
    return len(found.group(1)) if found else 0
