"""How a log is written: separator, decimal marks, header, units row, where the readings start.

Only the head of the file and a few places further on are looked at.
"""

from __future__ import annotations

import contextlib
import csv
import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import islice

from server.errors import Problem, UnusableLog
from server.intake.cells import (
    Cell,
    is_blank,
    kind_of,
    split_unit,
    tidy,
)
from server.intake.marks import find_marks, find_suffix
from server.intake.text import Text, lines_of
from server.units import is_spelled_out, kinds_of

SEPARATORS = ("\t", ";", ",", "|", " ")
SEPARATOR_NAMES = {"\t": "tab", ";": "semicolon", ",": "comma", "|": "bar", " ": "spaces"}
COMMENT = re.compile(r"\s*(#|%|//|!)")
_MAX_LINES = 300
_SCORED = 60
_TRIED = 20


@dataclass(frozen=True, slots=True)
class Dialect:
    """`first_line` is the index of the first line of readings; lines count from 0.

    `marks`: decimal mark of each column. `suffixes`: a unit printed behind every number of the
    column. `cells` are the head's tidied cells, one tuple a column. `rows_at`: the lines, counted
    from 1, on which the first of `raw_rows` stand.
    """

    separator: str
    is_quoted: bool
    width: int
    trailing_blank: bool
    headers: tuple[str, ...] | None
    units: tuple[str, ...] | None
    header_line: int | None
    first_line: int
    preamble: tuple[str, ...]
    marks: tuple[str, ...]
    suffixes: tuple[str | None, ...]
    cells: tuple[tuple[str, ...], ...]
    raw_rows: tuple[tuple[str, ...], ...]
    rows_at: tuple[int, ...]
    notes: dict[str, str] = field(default_factory=dict)


def split_line(line: str, separator: str) -> list[str]:
    """The cells of a line, quotes taken off."""
    if separator == " ":
        line = re.sub(r"[ \t]+", " ", line.strip())
    if '"' in line:
        # A stray quotation mark is no reason to stop here; the readings themselves are checked.
        with contextlib.suppress(csv.Error):
            return next(csv.reader([line], delimiter=separator, skipinitialspace=True), [])
    return line.split(separator)


def _is_data(cells: Sequence[str]) -> bool:
    """A line of readings: no junk, at least one figure, and not more words than figures."""
    kinds = Counter(_kind(tidy(c)) for c in cells)
    figures = kinds[Cell.NUMBER] + kinds[Cell.CLOCK]
    return not kinds[Cell.JUNK] and figures > 0 and kinds[Cell.WORDS] <= max(figures, 1)


def _kind(cell: str) -> Cell:
    kind = kind_of(cell)
    return Cell.NUMBER if kind is Cell.WORDS and split_unit(cell) else kind


def _score(lines: Sequence[str], separator: str) -> tuple[int, int]:
    """How many lines read as readings of one width, and that width."""
    widths = Counter[int]()
    for line in lines:
        if separator != " " and separator not in line:
            continue
        cells = split_line(line, separator)
        if len(cells) > 1 and _is_data(cells):
            widths[len(cells)] += 1
    if not widths:
        return 0, 0
    width, n = max(widths.items(), key=lambda item: (item[1], item[0]))
    return n, width


def find_dialect(text: Text, *, name: str) -> Dialect:
    """Find how the log is written. Raises UnusableLog where nothing reads as columns."""
    lines, further = _sample(text)
    usable = [x for x in lines if x.strip() and not COMMENT.match(x)]
    scores = {s: _score(usable[-_SCORED:], s) for s in SEPARATORS}
    # Spaces stand inside dates and words too: they separate only where nothing else does.
    separator = max(SEPARATORS, key=lambda s: (scores[s][0], s != " ", scores[s][1]))
    n_good, width = scores[separator]
    if n_good == 0:
        raise UnusableLog(name, [_no_columns(usable)])
    first = _first_data_line(lines, separator, width)
    headers, units, header_line = _header(lines, first, separator, width)
    probes = [p for p in further if len(split_line(p, separator)) == width]
    numbered = enumerate(lines[first:], start=first + 1)
    at = [(n, x) for n, x in numbered if x.strip() and not COMMENT.match(x)]
    body = [x for _, x in at]
    rows = [r for r in (split_line(x, separator) for x in [*body, *probes]) if len(r) == width]
    cells = [tuple(tidy(r[i]) for r in rows) for i in range(width)]
    suffixes = tuple(find_suffix(c) for c in cells)
    bare = [
        [(split_unit(x) or (x, ""))[0] if s else x for x in c]
        for c, s in zip(cells, suffixes, strict=True)
    ]
    marks, notes = find_marks(bare, separator)
    trailing = width > 1 and all(not c for c in cells[-1]) and _is_unnamed(headers, width)
    return Dialect(
        separator=separator,
        is_quoted=any('"' in x for x in [*body, *probes]),
        width=width,
        trailing_blank=trailing,
        headers=headers,
        units=units,
        header_line=header_line,
        first_line=first,
        preamble=tuple(lines[: header_line if header_line is not None else first]),
        marks=marks,
        suffixes=suffixes,
        cells=tuple(tuple(c) for c in bare),
        raw_rows=tuple(tuple(r) for r in rows[:60]),
        rows_at=tuple(n for n, x in at[:60] if len(split_line(x, separator)) == width),
        notes=notes,
    )


def _sample(text: Text) -> tuple[list[str], list[str]]:
    """The first lines, and some from further on; never a last line that may be cut."""
    lines = lines_of(text.head)
    if text.is_whole and len(lines) > 3 and not text.head.endswith("\n"):
        lines = lines[:-1]
    rest = lines[_MAX_LINES:]
    further = [*rest[:: max(len(rest) // 100, 1)], *rest[-3:], *text.probes]
    return lines[:_MAX_LINES], further


def _is_unnamed(headers: tuple[str, ...] | None, width: int) -> bool:
    return headers is None or len(headers) < width or not headers[-1].strip()


def _no_columns(lines: Sequence[str]) -> Problem:
    if any(re.search(r"\d", x) for x in lines):
        return Problem(
            "not delimited text: no line reads as two or more columns of figures.",
            "Send one reading a line, with commas, semicolons, tabs or spaces between columns.",
        )
    return Problem(
        "not delimited text: there are no readings in it.",
        "Send the log itself, one reading a line, columns with a header.",
    )


def _first_data_line(lines: Sequence[str], separator: str, width: int) -> int:
    """The first line of readings that is followed by more of them."""
    rows = [split_line(x, separator) if x.strip() and not COMMENT.match(x) else [] for x in lines]
    whole = [r for r in rows[-_SCORED:] if len(r) == width]
    wordy = [sum(1 for r in whole if _is_word(r[i])) * 2 > len(whole) for i in range(width)]

    def is_good(cells: Sequence[str]) -> bool:
        # A line of metadata can hold a figure; its words stand where readings have none.
        odd = sum(1 for c, w in zip(cells, wordy, strict=False) if not w and _is_word(c))
        return len(cells) == width and _is_data(cells) and odd * 2 < width

    for i in islice((i for i, cells in enumerate(rows) if is_good(cells)), _TRIED):
        after = [r for r, x in zip(rows[i:], lines[i:], strict=True) if x.strip()][:4]
        if sum(1 for r in after if is_good(r)) * 2 >= len(after):
            return i
    return next(i for i, cells in enumerate(rows) if len(cells) == width and _is_data(cells))


def _is_word(cell: str) -> bool:
    return kind_of(tidy(cell)) is Cell.WORDS and split_unit(tidy(cell)) is None


def _header(
    lines: Sequence[str], first: int, separator: str, width: int
) -> tuple[tuple[str, ...] | None, tuple[str, ...] | None, int | None]:
    """Header and units row: the nearest lines above the readings that have their width."""
    candidates: list[tuple[int, tuple[str, ...]]] = []
    for index, line in reversed(_joined_by_quotes(lines[:first])):
        cells = _header_cells(line, separator, width)
        if cells is not None:
            candidates.append((index, cells))
        elif candidates and line.strip():
            break
        if len(candidates) == 2:
            break
    if not candidates:
        return None, None, None
    (index, cells), above = candidates[0], candidates[1:]
    if above and _is_units_row(cells) and not _is_units_row(above[0][1]):
        return above[0][1], cells, above[0][0]
    if above and _is_units_row(cells) and COMMENT.match(lines[above[0][0]]) is None:
        return above[0][1], cells, above[0][0]
    return cells, None, index


def _joined_by_quotes(lines: Sequence[str]) -> list[tuple[int, str]]:
    """Lines with their index; a quoted name that runs over a line end is one line."""
    joined: list[tuple[int, str]] = []
    is_open = False
    for index, line in enumerate(lines):
        if is_open:
            joined[-1] = (joined[-1][0], f"{joined[-1][1]} {line}")
        else:
            joined.append((index, line))
        is_open ^= line.count('"') % 2 == 1
    return joined if not is_open else list(enumerate(lines))


def _header_cells(line: str, separator: str, width: int) -> tuple[str, ...] | None:
    if not line.strip():
        return None
    for plain in (line, COMMENT.sub("", line, count=1)):
        if separator == " " and '"' not in plain:
            by_gap = re.split(r"\s{2,}|\t", plain.strip())
            splits = [by_gap, plain.split(), _joined_units(plain.split())]
        else:
            splits = [split_line(plain, separator)]
        for cells in splits:
            tidied = tuple(tidy(c) for c in cells)
            fits = len(tidied) in (width, width - 1) or (
                len(tidied) == width + 1 and not tidied[-1]
            )
            rule = all(is_blank(c) or not any(ch.isalnum() for ch in c) for c in tidied)
            has_words = sum(1 for c in tidied if any(ch.isalpha() for ch in c)) * 2 >= len(tidied)
            if fits and has_words and not rule and (len(tidied) >= width or width > 2):
                # One short is only a header where the readings end in a separator.
                return tidied[:width]
    return None


def _joined_units(words: Sequence[str]) -> list[str]:
    """ "t [s] U [V]" has a bracketed unit behind each name: one cell each."""
    joined: list[str] = []
    for word in words:
        if joined and word[0] in "[(":
            joined[-1] += " " + word
        else:
            joined.append(word)
    return joined


def bare_unit(cell: str) -> str:
    """A unit cell without its brackets."""
    cell = tidy(cell)
    if len(cell) > 2 and cell[0] + cell[-1] in {"[]", "()", "{}", "<>"}:
        return cell[1:-1].strip()
    return cell


def _is_units_row(cells: Sequence[str]) -> bool:
    named = [bare_unit(c) for c in cells if not is_blank(bare_unit(c))]
    known = [c for c in named if _looks_like_unit(c)]
    bracketed = [c for c in cells if tidy(c)[:1] in {"[", "("}]
    return bool(named) and (len(known) * 2 > len(named) or len(bracketed) * 2 > len(named))


def _looks_like_unit(cell: str) -> bool:
    # Single letters are symbols as well, so there capitals must be right: n is no newton.
    is_known = is_spelled_out(cell) if len(cell) == 1 else bool(kinds_of(cell))
    return is_known or re.search(r"[°%/²³·]", cell) is not None
