"""A table of results from several testers (RESULTS.csv): one result a line, columns by name."""

from __future__ import annotations

import csv
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from server.errors import Problem, TooLarge, Unusable
from server.intake.cells import SPACES, grouping, is_blank, tidy
from server.intake.limits import ReadLimits
from server.intake.text import decode, lines_of, open_text
from server.model.pooled import LARGEST, SMALLEST_U, BenchResult

MAX_RESULTS = 100_000
MOST_PROBLEMS = 20

COLUMNS = {
    "tester": "tester",
    "laboratory": "tester",
    "lab": "tester",
    "value": "value",
    "standard_uncertainty": "standard_uncertainty",
    "u": "standard_uncertainty",
    "specimen": "specimen",
    "run": "run",
}
_PLAIN = re.compile(r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?")
_COMMA = re.compile(r"[+-]?(?:\d+,\d*|,\d+)(?:[eE][+-]?\d+)?")
_EITHER = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")
_REMEDY = "The first line names the columns: tester,value,standard_uncertainty or tester,value."


@dataclass(frozen=True, slots=True)
class _Line:
    row: int  # as an editor counts
    cells: list[str]


def read_results(
    path: Path, *, name: str, limits: ReadLimits | None = None
) -> tuple[BenchResult, ...]:
    """Results in the order of the file.

    Columns `tester` and `value`; `standard_uncertainty` where it is known for all; `specimen` and
    `run` where they are told apart. Other columns are left out. Separated by commas, semicolons or
    tabs; with the latter two a decimal comma is one.

    Raises
    ------
    Unusable: every problem found (the first 20), with row, column and remedy.
    TooLarge: more bytes than the limits allow, or over 100 000 results.
    """
    with open_text(path, name=name, limits=limits or ReadLimits()) as text:
        raw = text.path.read_bytes()[text.bom_bytes :]
    lines, separator = _split(lines_of(decode(raw)), name)
    columns = _columns(lines[0], name)
    if len(lines) - 1 > MAX_RESULTS:
        raise TooLarge(f"{name} has {len(lines) - 1:,} results; the limit is {MAX_RESULTS:,}.")
    if len(lines) == 1:
        raise Unusable(name, [Problem("there is no result below the header.", _REMEDY)])
    problems: list[Problem] = []
    reader = _Reader(columns, len(lines[0].cells), lines[1:], may_be_comma=separator != ",")
    results = [reader.result(line, problems) for line in lines[1:]]
    found = [r for r in results if r is not None]
    problems += _spelled_twice(lines[1:], columns["tester"])
    problems += _partly_stated(lines[1:], found, columns)
    if problems:
        more = len(problems) - MOST_PROBLEMS
        rest = [Problem(f"and {more} more of the kind.", "")] if more > 0 else []
        raise Unusable(name, sorted(problems, key=_row)[:MOST_PROBLEMS] + rest)
    return tuple(found)


def _row(problem: Problem) -> int:
    return problem.row or 0


def _split(texts: Sequence[str], name: str) -> tuple[list[_Line], str]:
    used = [
        (row, text)
        for row, text in enumerate(texts, start=1)
        if text.strip(f"{SPACES}\t,;") and not text.lstrip().startswith("#")
    ]
    if not used:
        raise Unusable(name, [Problem("the file is empty.", _REMEDY)])
    header = used[0][1]
    separator = max(",;\t", key=header.count)
    if separator not in header:
        problem = Problem("the first line names only one column.", _REMEDY, row=used[0][0])
        raise Unusable(name, [problem])
    lines = []
    for row, text in used:
        try:
            cells = next(csv.reader([text], delimiter=separator, strict=True))
        except csv.Error as error:
            problem = Problem(
                "a quotation mark is opened and not closed.", "Close or remove it.", row=row
            )
            raise Unusable(name, [problem]) from error
        lines.append(_Line(row, [tidy(c) for c in cells]))
    return lines, separator


def _columns(header: _Line, name: str) -> dict[str, int]:
    columns: dict[str, int] = {}
    problems: list[Problem] = []
    for position, cell in enumerate(header.cells):
        word = re.sub(r"[\s_-]+", "_", cell.casefold())
        known = COLUMNS.get(word)
        if known is None:
            continue
        if known in columns:
            problems.append(
                Problem("the column is there twice.", "Keep one.", row=header.row, column=cell)
            )
        columns[known] = position
    problems += [
        Problem(f"there is no column “{needed}”.", _REMEDY, row=header.row, column=needed)
        for needed in ("tester", "value")
        if needed not in columns
    ]
    if problems:
        raise Unusable(name, problems)
    return columns


class _Reader:
    """Reads lines by the header's columns."""

    def __init__(
        self, columns: dict[str, int], width: int, lines: Sequence[_Line], *, may_be_comma: bool
    ) -> None:
        self.columns = columns
        self.width = width
        figures = [self._cell(x, c) for x in lines for c in ("value", "standard_uncertainty")]
        # 1,234 alone could be either; 1,5 or 0,123 tells for the whole file.
        self.has_decimal_comma = may_be_comma and any(
            _COMMA.fullmatch(f) and not _EITHER.fullmatch(f) for f in figures
        )

    def result(self, line: _Line, problems: list[Problem]) -> BenchResult | None:
        """The line's result, or None with what is wrong added to `problems`."""
        if any(line.cells[self.width :]):
            problems.append(
                Problem(
                    f"there are {len(line.cells)} cells, the header names {self.width}.",
                    "Put quotation marks around a cell that holds the separator, or use a point "
                    "as decimal mark.",
                    row=line.row,
                )
            )
            return None
        n_before = len(problems)
        tester = self._cell(line, "tester")
        if not tester:
            remedy = "Name who measured; the same name for all of a tester's results."
            problems.append(Problem("the cell is empty.", remedy, row=line.row, column="tester"))
        value = self._number(line, "value", problems)
        u = None
        if not is_blank(self._cell(line, "standard_uncertainty")):
            u = self._number(line, "standard_uncertainty", problems)
            if u is not None and u < SMALLEST_U:
                remedy = "Give the standard uncertainty (k = 1), or leave the column out."
                problems.append(
                    Problem("it must be above zero.", remedy, line.row, "standard_uncertainty")
                )
        if value is None or len(problems) > n_before:
            return None
        specimen, run = self._cell(line, "specimen"), self._cell(line, "run")
        return BenchResult(tester, value, u, specimen=specimen or None, run=run or None)

    def _cell(self, line: _Line, column: str) -> str:
        position = self.columns.get(column)
        if position is None or position >= len(line.cells):
            return ""
        return re.sub(rf"[{SPACES}]+", " ", line.cells[position])

    def _number(self, line: _Line, column: str, problems: list[Problem]) -> float | None:
        cell = self._cell(line, column)
        if not cell:
            remedy = "Write the figure, or remove the line."
            problems.append(Problem("the cell is empty.", remedy, row=line.row, column=column))
            return None
        written = cell
        if self.has_decimal_comma and _COMMA.fullmatch(cell):
            written = cell.replace(",", ".")
        if _PLAIN.fullmatch(written) and abs(float(written)) <= LARGEST:
            return float(written)
        remedy = "Write the bare figure with a decimal point, without unit."
        if grouping(cell) is not None:
            remedy = "Write it without marks between thousands."
        problems.append(Problem(f"“{cell}” is no figure.", remedy, row=line.row, column=column))
        return None


def _spelled_twice(lines: Sequence[_Line], position: int) -> list[Problem]:
    """A name with other capitals is most likely the same tester, and must not count as another."""
    first: dict[str, str] = {}
    told: set[str] = set()
    problems = []
    for line in lines:
        name = line.cells[position] if position < len(line.cells) else ""
        before = first.setdefault(name.casefold(), name)
        if before != name and name not in told:
            told.add(name)
            problems.append(
                Problem(
                    f"“{name}” and “{before}” differ only in capitals.",
                    "Write one tester's name one way.",
                    row=line.row,
                    column="tester",
                )
            )
    return problems


def _partly_stated(
    lines: Sequence[_Line], found: Sequence[BenchResult], columns: dict[str, int]
) -> list[Problem]:
    position = columns.get("standard_uncertainty")
    if position is None or not any(r.standard_uncertainty is not None for r in found):
        return []
    return [
        Problem(
            "the cell is empty, other lines have one.",
            "Give it for all results or leave the column out.",
            row=line.row,
            column="standard_uncertainty",
        )
        for line in lines
        if position >= len(line.cells) or is_blank(line.cells[position])
    ]
