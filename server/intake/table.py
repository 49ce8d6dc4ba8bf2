"""The readings of a log as arrays: one fast pass where it works, piece by piece where it doesn't.

The fast reader gets everything given: separator, mark, schema, where the readings start. It fails
on padded or grouped figures and on words between figures, and then each piece is tidied by itself.
"""

from __future__ import annotations

import mmap
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from server.errors import Problem
from server.intake.dialect import Dialect
from server.intake.figures import read_figures, tidy_column
from server.intake.pieces import (
    pieces,
    ragged_row,
    tidy_lines,
    unclosed_quote,
    without_bare_rows,
)
from server.intake.text import Text

if TYPE_CHECKING:
    import polars as pl

_MAX_PROBLEMS = 20
_HIDDEN_POINT = b"\x01"  # no text holds it; the fast reader stops at it, as it must
_STOPPED_AT = re.compile(r"at column '(\d+)'")


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


def _schema(wants: Sequence[Want], as_text: set[int]) -> dict[str, Any]:
    import polars as pl

    kinds = {"float64": pl.Float64, "float32": pl.Float32, "text": pl.String}
    return {str(i): pl.String if i in as_text else kinds[want.kind] for i, want in enumerate(wants)}


def _main_mark(dialect: Dialect, wants: Sequence[Want]) -> str:
    """The decimal mark of most columns; the fast reader knows one at a time."""
    marks = [m for m, w in zip(dialect.marks, wants, strict=True) if w.kind != "text"]
    mark = max(sorted(set(marks)), key=marks.count, default=".")
    return "." if dialect.separator == mark else mark


def _text_columns(dialect: Dialect, wants: Sequence[Want], mark: str) -> set[int]:
    """Columns that the fast reader can't take as figures: other marks, units behind figures."""
    return {
        i
        for i, want in enumerate(wants)
        if want.kind == "text" or dialect.marks[i] != mark or dialect.suffixes[i]
    }


def _parse(
    source: Any, dialect: Dialect, schema: dict[str, Any], mark: str, *, quoted: bool, **more: Any
) -> tuple[Any, int | None]:
    """One call of the fast reader: the frame, or None and the column where it stopped."""
    import polars as pl

    try:
        frame = pl.read_csv(
            source,
            schema=schema,
            has_header=False,
            separator=dialect.separator,
            quote_char='"' if quoted else None,
            decimal_comma=mark == ",",
            **more,
        )
    except pl.exceptions.PolarsError as error:
        found = _STOPPED_AT.search(str(error))
        return None, int(found.group(1)) if found else None
    return frame, None


def _read_fast(
    text: Text, dialect: Dialect, wants: Sequence[Want], *, end: int
) -> list[pl.Series] | None:
    mark = _main_mark(dialect, wants)
    as_text = _text_columns(dialect, wants, mark)
    if dialect.separator == " " or any(wants[i].kind != "text" for i in as_text):
        return None
    with text.path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as raw:
        start = _offset_of_line(raw, text.bom_bytes, dialect.first_line)
        # A point among decimal commas may group thousands; the fast reader would take it as a mark.
        if mark == "," and raw.find(b".", start, end) >= 0:
            return None
        whole = end == text.n_bytes
        frame, _ = _parse(
            text.path if whole else raw[start:end],
            dialect,
            _schema(wants, as_text),
            mark,
            quoted=dialect.is_quoted,
            skip_lines=dialect.first_line if whole else 0,
        )
        if frame is None:
            return None
        if _ends_blank(frame) and not _widths_hold(raw, start, end, frame, dialect):
            return None
    return [frame.get_column(str(i)) for i in range(len(wants))]


def _offset_of_line(raw: mmap.mmap, start: int, line: int) -> int:
    for _ in range(line):
        start = raw.find(b"\n", start) + 1
    return start


def _ends_blank(frame: Any) -> bool:
    """A blank in the last column: truly blank, or the row is short."""
    return bool(frame.get_column(frame.columns[-1]).null_count())


def _widths_hold(
    raw: mmap.mmap | bytes, start: int, end: int, frame: Any, dialect: Dialect
) -> bool:
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


def _read_pieces(text: Text, dialect: Dialect, wants: Sequence[Want], *, end: int) -> Table:
    import polars as pl

    parts: list[list[pl.Series]] = [[] for _ in wants]
    table = Table([], dialect.first_line + 1)
    as_text = _text_columns(dialect, wants, _main_mark(dialect, wants))
    for line, raw in pieces(text, dialect, end=end):
        columns = _read_piece(raw, line, dialect, wants, as_text, table)
        if columns is None or len(table.problems) > _MAX_PROBLEMS:
            break
        for part, column in zip(parts, columns, strict=True):
            part.append(column)
    for position, part in enumerate(parts):
        whole = pl.concat(part, rechunk=True) if part else pl.Series(str(position), [])
        table.columns.append(whole)
        part.clear()
    return table


def _read_piece(
    raw: bytes,
    line: int,
    dialect: Dialect,
    wants: Sequence[Want],
    as_text: set[int],
    table: Table,
) -> list[pl.Series] | None:
    """Read one piece. Columns that stop the fast reader are read as text and tidied, here and in
    the pieces that follow. None where the rows have different widths."""
    mark = _main_mark(dialect, wants)
    raw = tidy_lines(raw, dialect)
    hides_points = mark == "," and b"." in raw
    if hides_points:
        raw = raw.replace(b".", _HIDDEN_POINT)
    quoted = b'"' in raw
    is_plain = raw.isascii() and not quoted and b"'" not in raw
    frame = _parse_as_can_be(raw, dialect, wants, as_text, mark, quoted=quoted)
    if frame is None and quoted:
        # A stray quotation mark, as in 5" hose: read on without heed to any.
        frame = _parse_as_can_be(raw, dialect, wants, as_text, mark, quoted=False)
    if frame is None or (_ends_blank(frame) and not _widths_hold(raw, 0, len(raw), frame, dialect)):
        emptied = without_bare_rows(raw, dialect)
        if emptied != raw:
            shown = emptied.replace(_HIDDEN_POINT, b".") if hides_points else emptied
            return _read_piece(shown, line, dialect, wants, as_text, table)
        problem = ragged_row(raw, line, dialect)
        if frame is None and problem is None:
            problem = unclosed_quote(raw, line)
        if problem is not None:
            table.problems.append(problem)
            return None
    made: list[pl.Series] = []
    for position, want in enumerate(wants):
        column = frame.get_column(str(position))
        if position in as_text:
            if hides_points:
                column = column.str.replace_all(_HIDDEN_POINT.decode(), ".", literal=True)
            column = _tidied(column, position, line, dialect, want, table, is_plain=is_plain)
        made.append(column)
    return made


def _parse_as_can_be(
    raw: bytes,
    dialect: Dialect,
    wants: Sequence[Want],
    as_text: set[int],
    mark: str,
    *,
    quoted: bool,
) -> Any:
    """Parse, with one column after another as text until nothing stops the reader."""
    while True:
        frame, stopped_at = _parse(raw, dialect, _schema(wants, as_text), mark, quoted=quoted)
        if frame is not None or stopped_at is None or stopped_at in as_text:
            return frame
        as_text.add(stopped_at)


def _tidied(
    cells: pl.Series,
    position: int,
    line: int,
    dialect: Dialect,
    want: Want,
    table: Table,
    *,
    is_plain: bool,
) -> pl.Series:
    import polars as pl

    if want.kind == "text":
        return tidy_column(cells, is_plain=is_plain)
    got = read_figures(
        cells, mark=dialect.marks[position], suffix=dialect.suffixes[position], is_plain=is_plain
    )
    if got.n_overload:
        table.overloads[position] = table.overloads.get(position, 0) + got.n_overload
    if got.n_bad and not want.is_strict:
        table.not_figures[position] = table.not_figures.get(position, 0) + got.n_bad
    for row, cell in got.bad if want.is_strict else ():
        table.problems.append(
            Problem(
                f"“{cell[:60]}” is no figure.",
                "Correct the cell or leave it blank.",
                row=line + row,
                column=want.header,
            )
        )
    return got.values.cast(pl.Float64 if want.kind == "float64" else pl.Float32)
