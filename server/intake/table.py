"""The readings of a log as arrays: one fast pass where it works, piece by piece where it doesn't.

The fast reader gets everything given: separator, mark, schema, where the readings start. It fails
on padded or grouped figures and on words between figures, and then each piece is tidied by itself.
"""

from __future__ import annotations

import mmap
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any, BinaryIO

from server.errors import Problem
from server.intake.dialect import Dialect, split_line
from server.intake.figures import read_figures, tidy_column
from server.intake.text import Text, decode

if TYPE_CHECKING:
    import polars as pl

_PIECE_BYTES = 1 << 24


@dataclass(frozen=True, slots=True)
class Want:
    """How a column is read: "float64", "float32" or "text"; `is_strict`: words are a problem."""

    kind: str
    header: str
    is_strict: bool


@dataclass(slots=True)
class Table:
    """Columns by position. `line` is the file's line (from 1) of the first row."""

    columns: list[pl.Series]
    first_line: int
    problems: list[Problem] = field(default_factory=list)
    not_figures: dict[int, int] = field(default_factory=dict)
    overloads: dict[int, int] = field(default_factory=dict)


def read_table(text: Text, dialect: Dialect, wants: Sequence[Want], *, end: int) -> Table:
    """Read the readings up to byte `end` of the file (a cut last line lies behind it)."""
    fast = _read_fast(text, dialect, wants, end=end)
    if fast is not None:
        return Table(fast, dialect.first_line + 1)
    return _read_pieces(text, dialect, wants, end=end)


def _schema(wants: Sequence[Want], *, as_text: bool = False) -> dict[str, Any]:
    import polars as pl

    kinds = {"float64": pl.Float64, "float32": pl.Float32, "text": pl.String}
    return {str(i): pl.String if as_text else kinds[w.kind] for i, w in enumerate(wants)}


def _one_mark(dialect: Dialect, wants: Sequence[Want]) -> str | None:
    marks = {mark for mark, want in zip(dialect.marks, wants, strict=True) if want.kind != "text"}
    return marks.pop() if len(marks) == 1 else "." if not marks else None


def _parse(source: Any, dialect: Dialect, schema: dict[str, Any], mark: str, **more: Any) -> Any:
    """One call of the fast reader; None where it refuses."""
    import polars as pl

    try:
        return pl.read_csv(
            source,
            schema=schema,
            has_header=False,
            separator=dialect.separator,
            quote_char='"' if dialect.is_quoted else None,
            decimal_comma=mark == ",",
            **more,
        )
    except pl.exceptions.PolarsError:
        return None


def _read_fast(
    text: Text, dialect: Dialect, wants: Sequence[Want], *, end: int
) -> list[pl.Series] | None:
    mark = _one_mark(dialect, wants)
    if mark is None or dialect.separator == " " or any(dialect.suffixes):
        return None
    if mark == "," and dialect.separator == ",":
        return None
    with text.path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as raw:
        start = _offset_of_line(raw, text.bom_bytes, dialect.first_line)
        # A point among decimal commas may group thousands; the fast reader would take it as a mark.
        if mark == "," and raw.find(b".", start, end) >= 0:
            return None
        if end == text.n_bytes:
            frame = _parse(text.path, dialect, _schema(wants), mark, skip_lines=dialect.first_line)
        else:
            frame = _parse(raw[start:end], dialect, _schema(wants), mark)
        if frame is None:
            return None
        if frame.get_column(str(len(wants) - 1)).null_count() and not _widths_hold(
            raw, start, end, frame, dialect
        ):
            return None
    return [frame.get_column(str(i)) for i in range(len(wants))]


def _offset_of_line(raw: mmap.mmap, start: int, line: int) -> int:
    for _ in range(line):
        start = raw.find(b"\n", start) + 1
    return start


def _widths_hold(raw: mmap.mmap, start: int, end: int, frame: Any, dialect: Dialect) -> bool:
    """A short row reads as blanks at its end: count separators to tell it from true blanks."""
    import numpy as np

    if dialect.is_quoted:
        return False
    n_separators = 0
    sign = ord(dialect.separator)
    for at in range(start, end, 1 << 20):
        piece = np.frombuffer(raw[at : min(at + (1 << 20), end)], dtype=np.uint8)
        n_separators += int(np.count_nonzero(piece == sign))
    return n_separators == int(frame.height) * (dialect.width - 1)


def pieces(text: Text, dialect: Dialect, *, end: int) -> Iterator[tuple[int, bytes]]:
    """(line of the file from 1, bytes) of whole lines."""
    with text.path.open("rb") as file:
        file.seek(text.bom_bytes)
        for _ in range(dialect.first_line):
            file.readline()
        line = dialect.first_line + 1
        while piece := _next_piece(file, end):
            yield line, piece
            line += piece.count(b"\n")


def _next_piece(file: BinaryIO, end: int) -> bytes:
    left = end - file.tell()
    if left <= 0:
        return b""
    piece = file.read(min(_PIECE_BYTES, left))
    if file.tell() < end and not piece.endswith(b"\n"):
        piece += file.readline()
    return piece


def _read_pieces(text: Text, dialect: Dialect, wants: Sequence[Want], *, end: int) -> Table:
    import polars as pl

    parts: list[list[pl.Series]] = [[] for _ in wants]
    table = Table([], dialect.first_line + 1)
    for line, raw in pieces(text, dialect, end=end):
        frame = _piece_fast(raw, dialect, wants)
        if frame is None:
            frame = _piece_slow(raw, line, dialect, wants, table)
        if frame is None or len(table.problems) > 20:
            break
        for i in range(len(wants)):
            parts[i].append(frame[i])
    for position, part in enumerate(parts):
        table.columns.append(
            pl.concat(part, rechunk=True) if part else pl.Series(str(position), [])
        )
        part.clear()
    return table


def _piece_fast(raw: bytes, dialect: Dialect, wants: Sequence[Want]) -> list[pl.Series] | None:
    mark = _one_mark(dialect, wants)
    if mark is None or dialect.separator == " " or any(dialect.suffixes) or dialect.is_quoted:
        return None
    if mark == "," and (dialect.separator == "," or b"." in raw):
        return None
    frame = _parse(raw, dialect, _schema(wants), mark)
    if frame is None or frame.get_column(str(len(wants) - 1)).null_count():
        return None
    return [frame.get_column(str(i)) for i in range(len(wants))]


def tidy_lines(raw: bytes, dialect: Dialect) -> bytes:
    """A piece with one kind of line end, no comment lines, and single spaces where they separate.

    Lines keep their number: a comment becomes an empty line.
    """
    if not raw.isascii():
        raw = decode(raw).encode()
    if b"\r" in raw:
        raw = re.sub(rb"\r+\n", b"\n", raw).replace(b"\r", b"\n")
    raw = re.sub(rb"(?m)^[ \t]*(?:#|%|//|!)[^\n]*", b"", raw)
    if dialect.separator == " ":
        raw = re.sub(rb"[ \t]+", b" ", raw)
        raw = re.sub(rb"(?m)^ | $", b"", raw)
    return raw


def _piece_slow(
    raw: bytes, line: int, dialect: Dialect, wants: Sequence[Want], table: Table
) -> list[pl.Series] | None:
    """Read a piece as text and tidy every column. None where its rows have different widths."""
    tidied = tidy_lines(raw, dialect)
    frame = _parse(tidied, dialect, _schema(wants, as_text=True), ".")
    ragged = _ragged_row(tidied, line, dialect) if frame is None or _is_short(frame) else None
    if frame is None and ragged is None:
        ragged = Problem(
            "a quotation mark that opens here is never closed.", "Close or remove it.", row=line
        )
    if ragged is not None:
        table.problems.append(ragged)
        return None
    made: list[pl.Series] = []
    for position, want in enumerate(wants):
        cells = frame.get_column(str(position))
        if want.kind == "text":
            made.append(tidy_column(cells))
            continue
        got = read_figures(cells, mark=dialect.marks[position], suffix=dialect.suffixes[position])
        if got.n_overload:
            table.overloads[position] = table.overloads.get(position, 0) + got.n_overload
        if got.n_bad and want.is_strict:
            for row, cell in got.bad:
                table.problems.append(
                    Problem(
                        f"“{cell[:60]}” is no figure.",
                        "Correct the cell or leave it blank.",
                        row=line + row,
                        column=want.header,
                    )
                )
        elif got.n_bad:
            table.not_figures[position] = table.not_figures.get(position, 0) + got.n_bad
        import polars as pl

        made.append(got.values.cast(pl.Float64 if want.kind == "float64" else pl.Float32))
    return made


def _is_short(frame: Any) -> bool:
    return bool(frame.get_column(frame.columns[-1]).null_count())


def _ragged_row(raw: bytes, line: int, dialect: Dialect) -> Problem | None:
    """The first row whose width differs, named."""
    separator = dialect.separator.encode()
    for number, row in enumerate(raw.split(b"\n"), start=line):
        if row.count(separator) == dialect.width - 1 or not row.strip():
            continue
        width = len(split_line(decode(row), dialect.separator))
        if width == dialect.width:
            continue
        return Problem(
            f"this row has {width} {'column' if width == 1 else 'columns'}, "
            f"the others have {dialect.width}.",
            "Every row needs the same number of columns; leave cells blank rather than out.",
            row=number,
        )
    return None
