"""An XLSX sheet as delimited text: its values only, cell by cell, for the reader of logs.

A file from outside is looked at before it is parsed: how much it unpacks to, counted while reading
and never taken from what it says; no part may declare a document type, so that no entity is ever
expanded. Formulas are not worked out: the values they had when the sheet was saved are taken.
"""

from __future__ import annotations

import re
import warnings
import zipfile
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from pathlib import Path
from typing import IO, Any

from server.errors import Problem, TooLarge, UnusableLog
from server.intake.sheet_parts import Part, SheetPart, list_sheets, look_at_parts

ZIP_START = b"PK\x03\x04"
# The format's own limit.
MOST_ROWS = 1_048_576
_FAR = 1 << 20
MOST_CELLS = 4_000_000
_LINE_BREAKS = re.compile(r"[\t\r\n\x0b\x0c\x85\u2028\u2029]+")
_AS_TEXT = "Save the sheet as CSV and send that."


@dataclass(frozen=True, slots=True)
class SheetRead:
    """Which sheet was written out. `n_formulas`: cells whose saved value was taken;
    `n_unsaved`: of them those without one, which are blank."""

    name: str
    names: tuple[str, ...]
    n_formulas: int
    n_unsaved: int

    def described(self) -> dict[str, Any]:
        told: dict[str, Any] = {"sheet": self.name, "sheets": list(self.names)}
        if self.n_formulas:
            told["formulas"] = self.n_formulas
        if self.n_unsaved:
            told["formulas_without_value"] = self.n_unsaved
        return told


def write_sheet_as_text(
    path: Path, target: Path, *, name: str, sheet: str | None = None
) -> SheetRead:
    """Write one sheet of a workbook as text, a row a line, tabs between cells.

    Parameters
    ----------
    name : what the sender calls the file, for refusals.
    sheet : the sheet's name; None: the one with the most numbers.

    Raises
    ------
    UnusableLog: not a workbook, broken, protected, or no such sheet. TooLarge: it unpacks to more
    than the limits below, or has more cells.
    """
    try:
        with zipfile.ZipFile(path) as archive:
            parts = look_at_parts(archive, name=name)
            sheets = list_sheets(archive, parts, name=name)
    except (zipfile.BadZipFile, zipfile.LargeZipFile, NotImplementedError, EOFError) as error:
        raise _broken(name, error) from error
    chosen = _choose(sheets, sheet, name=name)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # what a workbook holds beside its cells is not read
        rows = _rows(path, chosen.name, name=name)
        _write(rows, target)
    part: Part = parts[chosen.path]
    return SheetRead(
        chosen.name, tuple(one.name for one in sheets), part.n_formulas, part.n_unsaved
    )


def _broken(name: str, error: object) -> UnusableLog:
    told = str(error).rstrip(".") or type(error).__name__
    return UnusableLog(
        name, [Problem(f"the sheet can't be read ({told[:120]}).", f"Save it anew. {_AS_TEXT}")]
    )


def _choose(sheets: Sequence[SheetPart], wanted: str | None, *, name: str) -> SheetPart:
    if wanted is None:
        return max(sheets, key=lambda one: one.n_numbers)
    for one in sheets:
        if one.name.casefold() == wanted.strip().casefold():
            return one
    known = ", ".join(f"“{one.name}”" for one in sheets[:20])
    raise UnusableLog(
        name,
        [
            Problem(
                f"there is no sheet “{wanted[:60]}”.", f"Its sheets: {known}.", field="run.sheet"
            )
        ],
    )


def _rows(path: Path, sheet: str, *, name: str) -> Iterator[list[str]]:
    """The rows of a sheet, each as text without what is blank behind its last cell."""
    from openpyxl import load_workbook

    # Opened here: by its path it would be judged by its name, and stored files have none.
    file = path.open("rb")
    # Its reader fails on a damaged file in dozens of ways, all of which mean the same here.
    try:
        book = load_workbook(file, read_only=True, data_only=True, keep_links=False)
        found = book[sheet]
        found.reset_dimensions()  # what the file says of its size need not be true
        cells = found.iter_rows(max_row=MOST_ROWS, values_only=True)
    except Exception as error:
        file.close()
        raise _broken(name, error) from error
    n_cells = 0
    try:
        while True:
            try:
                row = next(cells)
            except StopIteration:
                return
            except Exception as error:
                raise _broken(name, error) from error
            n_cells += max(len(row), 1)
            if n_cells > MOST_CELLS:
                raise TooLarge(
                    f"{name} has more than {MOST_CELLS:,} cells in sheet “{sheet}”. {_AS_TEXT}"
                )
            texts = [_text(value) for value in row]
            while texts and not texts[-1]:
                texts.pop()
            yield texts
    finally:
        book.close()
        file.close()


def _text(value: Any) -> str:
    """A cell as a log has it: numbers plain, dates and times as clocks."""
    if value is None:
        return ""
    if isinstance(value, bool):
        return "1" if value else "0"
    if isinstance(value, int | float):
        return repr(value)
    if isinstance(value, datetime):
        return value.isoformat(sep=" ")
    if isinstance(value, date | time):
        return value.isoformat()
    if isinstance(value, timedelta):
        return _clock(value)
    return _LINE_BREAKS.sub(" ", str(value)).strip()


def _clock(span: timedelta) -> str:
    total_us = span // timedelta(microseconds=1)
    sign = "-" if total_us < 0 else ""
    seconds, us = divmod(abs(total_us), 1_000_000)
    text = f"{sign}{seconds // 3600:02}:{seconds // 60 % 60:02}:{seconds % 60:02}"
    return f"{text}.{us:06}" if us else text


def _is_wide(cells: Sequence[str]) -> bool:
    """Whether a row is one of a table: two cells and more have something in them."""
    return sum(1 for text in cells if text) > 1


def _write(rows: Iterator[list[str]], target: Path) -> None:
    """Every reading as wide as the widest row; what stands above them as it is.

    Columns that are blank from top to bottom on the left are left out; so are rows at the end.
    """
    raw = target.with_name(f"{target.name}.raw")
    left, width, n_rows, n_used = _FAR, 0, 0, 0
    try:
        with raw.open("w", encoding="utf-8", newline="\n") as file:
            for cells in rows:
                n_rows += 1
                if cells:
                    n_used = n_rows
                    width = max(width, len(cells))
                    if _is_wide(cells):  # a title may stand further left than the readings
                        left = min(left, next(i for i, text in enumerate(cells) if text))
                file.write("\t".join(cells) + "\n")
        with raw.open(encoding="utf-8", newline="\n") as read:
            _pad(read, target, left=left, width=width, n_used=n_used)
    finally:
        raw.unlink(missing_ok=True)


def _pad(read: IO[str], target: Path, *, left: int, width: int, n_used: int) -> None:
    is_reading = False
    with target.open("w", encoding="utf-8", newline="\n") as file:
        for number, line in enumerate(read, start=1):
            if number > n_used:
                break
            cells = line[:-1].split("\t")
            is_reading = is_reading or _is_wide(cells)
            if not is_reading:
                cells = [text for text in cells if text]
            elif any(cells):
                cells = cells[left:] + [""] * (width - max(left, len(cells)))
            file.write("\t".join(cells) + "\n")
