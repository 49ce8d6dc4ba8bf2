"""The readings of a log as arrays: one fast pass where it works, piece by piece where it doesn't.

Each piece is tidied by itself; columns that stop the fast reader are read as text there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Any

from server.errors import Problem
from server.intake.ahead import ReadAhead
from server.intake.dialect import Dialect
from server.intake.fast import (
    FastWay,
    Want,
    fast_way,
    is_even,
    main_mark,
    parse,
    read_whole,
    text_columns,
)
from server.intake.figures import read_figures, tidy_column
from server.intake.pieces import (
    pieces,
    ragged_rows,
    tidy_lines,
    unclosed_quote,
    without_bare_rows,
)
from server.intake.text import Text

if TYPE_CHECKING:
    import polars as pl

_MAX_PROBLEMS = 20
_HIDDEN_POINT = b"\x01"  # no text holds it; the fast reader stops at it, as it must


@dataclass(slots=True)
class Table:
    """Columns by position. `line` is the file's line (from 1) of the first row."""

    columns: list[pl.Series]
    first_line: int
    problems: list[Problem] = field(default_factory=list)
    not_figures: dict[int, int] = field(default_factory=dict)
    overloads: dict[int, int] = field(default_factory=dict)


def read_table(
    text: Text,
    dialect: Dialect,
    wants: Sequence[Want],
    *,
    end: int,
    ahead: ReadAhead | None = None,
) -> Table:
    """Read the readings up to byte `end` of the file (a cut last line lies behind it).

    `ahead`: what was read of the same file while it arrived; taken where it was read the same way.
    """
    way = fast_way(dialect, wants)
    if way is not None:
        fast = None if ahead is None else ahead.take(way, end=end)
        fast = fast or read_whole(text, way, end=end)
        if fast is not None:
            return Table(fast, dialect.first_line + 1)
    return _read_pieces(text, dialect, wants, end=end)


def _read_pieces(text: Text, dialect: Dialect, wants: Sequence[Want], *, end: int) -> Table:
    import polars as pl

    parts: list[list[pl.Series]] = [[] for _ in wants]
    table = Table([], dialect.first_line + 1)
    as_text = text_columns(dialect, wants, main_mark(dialect, wants))
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
    mark = main_mark(dialect, wants)
    raw = tidy_lines(raw, dialect)
    hides_points = mark == "," and b"." in raw
    if hides_points:
        raw = raw.replace(b".", _HIDDEN_POINT)
    quoted = b'"' in raw
    is_plain = raw.isascii() and not quoted and b"'" not in raw
    frame = _parse_as_can_be(raw, dialect, wants, as_text, quoted=quoted)
    if frame is None and quoted:
        # A stray quotation mark, as in 5" hose: read on without heed to any.
        frame = _parse_as_can_be(raw, dialect, wants, as_text, quoted=False)
    way = _way(dialect, wants, as_text, quoted=dialect.is_quoted)
    if frame is None or not is_even(raw, frame, way, start=0, end=len(raw)):
        emptied = without_bare_rows(raw, dialect)
        if emptied != raw:
            shown = emptied.replace(_HIDDEN_POINT, b".") if hides_points else emptied
            return _read_piece(shown, line, dialect, wants, as_text, table)
        problems = ragged_rows(raw, line, dialect)
        if frame is None and not problems:
            problems = [unclosed_quote(raw, line)]
        if problems:
            table.problems += problems
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
    raw: bytes, dialect: Dialect, wants: Sequence[Want], as_text: set[int], *, quoted: bool
) -> Any:
    """Parse, with one column after another as text until nothing stops the reader."""
    while True:
        frame, stopped_at = parse(raw, _way(dialect, wants, as_text, quoted=quoted))
        if frame is not None or stopped_at is None or stopped_at in as_text:
            return frame
        as_text.add(stopped_at)


def _way(dialect: Dialect, wants: Sequence[Want], as_text: set[int], *, quoted: bool) -> FastWay:
    kinds = tuple("text" if i in as_text else want.kind for i, want in enumerate(wants))
    mark = main_mark(dialect, wants)
    return FastWay(dialect.separator, mark, quoted, kinds, dialect.first_line)


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
        problem = _no_figure(cell, line + row, want.header)
        if problem not in table.problems:
            table.problems.append(problem)
    return got.values.cast(pl.Float64 if want.kind == "float64" else pl.Float32)


def _no_figure(cell: str, row: int, header: str) -> Problem:
    if cell.strip() == header:
        # A logger that was started again writes its header again: one problem, not one a column.
        return Problem(
            "the header stands here again.",
            "Leave this row out; what was recorded in several goes is best sent as several files.",
            row=row,
        )
    return Problem(
        f"“{cell[:60]}” is no figure.",
        "Correct the cell or leave it blank.",
        row=row,
        column=header,
    )
