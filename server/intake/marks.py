"""Decimal and thousands marks, and units printed behind figures, from a column's cells."""

from __future__ import annotations

from collections.abc import Sequence

from server.intake.cells import COMMA_NUMBER, Cell, grouping, kind_of, split_unit

_GROUP_NAMES = {".": "point", ",": "comma", " ": "space", "'": "apostrophe"}


def find_suffix(cells: Sequence[str]) -> str | None:
    """The unit behind every number of a column, where all carry the same one."""
    found = {u[1] for c in cells if kind_of(c) is Cell.WORDS
             for u in [split_unit(c) or ("", "")]}  # fmt: skip
    return found.pop() if len(found) == 1 and "" not in found else None


def find_marks(
    columns: Sequence[Sequence[str]], separator: str
) -> tuple[tuple[str, ...], dict[str, str]]:
    """Decimal mark of each column, from plain evidence first, and what to say about the marks."""
    evidence = [_evidence(cells) for cells in columns]
    sure = {mark for mark, _ in evidence if mark}
    notes: dict[str, str] = {}
    default = "."
    if sure == {","} or (not sure and separator in ";\t " and any(
        "," in c and COMMA_NUMBER.fullmatch(c) for cells in columns for c in cells
    )):  # fmt: skip
        default = ","
        notes["decimal"] = (
            "comma, seen in figures that read no other way"
            if sure
            else "comma: every figure with one has three digits behind it; taken as decimals"
        )
    marks = tuple(mark or default for mark, _ in evidence)
    if groups := sorted({_GROUP_NAMES[group] for _, group in evidence if group}):
        notes["thousands_mark"] = " and ".join(groups)
    return marks, notes


def _evidence(cells: Sequence[str]) -> tuple[str | None, str | None]:
    """(decimal mark, thousands mark) that this column's figures prove."""
    mark: str | None = None
    group: str | None = None
    for cell in cells:
        by = grouping(cell)
        if by in {" ", "'"}:
            group = by
            mark = "," if "," in cell else "." if "." in cell else mark
        elif by == "," and ("." in cell or cell.count(",") > 1):
            mark, group = ".", ","
        elif by == "." and ("," in cell or cell.count(".") > 1):
            mark, group = ",", "."
        elif by == "," and cell.lstrip("+-").startswith("0"):
            mark = mark or ","
        elif by == "." and cell.lstrip("+-").startswith("0"):
            mark = mark or "."
        elif by is None and mark is None and COMMA_NUMBER.fullmatch(cell):
            mark = ","
        elif by is None and mark is None and "." in cell and kind_of(cell) is Cell.NUMBER:
            mark = "."
    return mark, group
