"""The fast reader: figures that stand plainly, everything about them given.

It fails on padded or grouped figures and on words between figures; whoever called it then reads
another way.
"""

from __future__ import annotations

import mmap
import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from server.intake.dialect import Dialect
from server.intake.text import Text

if TYPE_CHECKING:
    import polars as pl

_STOPPED_AT = re.compile(r"at column '(\d+)'")


@dataclass(frozen=True, slots=True)
class Want:
    """How a column is read: "float64", "float32" or "text"; `is_strict`: words are a problem."""

    kind: str
    header: str
    is_strict: bool


@dataclass(frozen=True, slots=True)
class FastWay:
    """All that the fast reader is told. Two equal ways read the same bytes alike."""

    separator: str
    mark: str
    is_quoted: bool
    kinds: tuple[str, ...]
    first_line: int


def fast_way(dialect: Dialect, wants: Sequence[Want]) -> FastWay | None:
    """How the fast reader can take a log, None where it can't."""
    mark = main_mark(dialect, wants)
    as_text = text_columns(dialect, wants, mark)
    if dialect.separator == " " or any(wants[i].kind != "text" for i in as_text):
        return None
    kinds = tuple(want.kind for want in wants)
    return FastWay(dialect.separator, mark, dialect.is_quoted, kinds, dialect.first_line)


def main_mark(dialect: Dialect, wants: Sequence[Want]) -> str:
    """The decimal mark of most columns; the fast reader knows one at a time."""
    marks = [m for m, w in zip(dialect.marks, wants, strict=True) if w.kind != "text"]
    mark = max(sorted(set(marks)), key=marks.count, default=".")
    return "." if dialect.separator == mark else mark


def text_columns(dialect: Dialect, wants: Sequence[Want], mark: str) -> set[int]:
    """Columns that the fast reader can't take as figures: other marks, units behind figures."""
    return {
        i
        for i, want in enumerate(wants)
        if want.kind == "text" or dialect.marks[i] != mark or dialect.suffixes[i]
    }


def parse(source: Any, way: FastWay, **more: Any) -> tuple[Any, int | None]:
    """One call of the fast reader: the frame, or None and the column where it stopped."""
    import polars as pl

    kinds = {"float64": pl.Float64, "float32": pl.Float32, "text": pl.String}
    try:
        frame = pl.read_csv(
            source,
            schema={str(i): kinds[kind] for i, kind in enumerate(way.kinds)},
            has_header=False,
            separator=way.separator,
            quote_char='"' if way.is_quoted else None,
            decimal_comma=way.mark == ",",
            **more,
        )
    except pl.exceptions.PolarsError as error:
        found = _STOPPED_AT.search(str(error))
        return None, int(found.group(1)) if found else None
    return frame, None


def read_whole(text: Text, way: FastWay, *, end: int) -> list[pl.Series] | None:
    """The readings up to byte `end` of the file as columns; None where they can't be had so."""
    with text.path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as raw:
        start = offset_of_line(raw, text.bom_bytes, way.first_line)
        # A point among decimal commas may group thousands; the fast reader would take it as a mark.
        if way.mark == "," and raw.find(b".", start, end) >= 0:
            return None
        if end == text.n_bytes:
            frame, _ = parse(text.path, way, skip_lines=way.first_line)
        else:
            frame, _ = parse(raw[start:end], way)
        if frame is None or not is_even(raw, frame, way, start=start, end=end):
            return None
    return [frame.get_column(name) for name in frame.columns]


def offset_of_line(raw: mmap.mmap | bytes, start: int, line: int) -> int:
    """Where a line begins, counted from 0 at byte `start`."""
    for _ in range(line):
        start = raw.find(b"\n", start) + 1
    return start


def is_even(raw: mmap.mmap | bytes, frame: Any, way: FastWay, *, start: int, end: int) -> bool:
    """Whether every row had every column.

    A short row reads as blanks at its end: where the last column has any, separators are counted
    to tell it from true blanks.
    """
    import numpy as np

    if not frame.get_column(frame.columns[-1]).null_count():
        return True
    if way.is_quoted:
        return False
    n_separators = 0
    sign = ord(way.separator)
    for at in range(start, end, 1 << 20):
        piece = np.frombuffer(raw[at : min(at + (1 << 20), end)], dtype=np.uint8)
        n_separators += int(np.count_nonzero(piece == sign))
    return n_separators == int(frame.height) * (len(way.kinds) - 1)
