"""Columns of text to figures, where the fast reader can't: blanks, groups, marks, padding."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from server.intake.cells import BLANK_WORDS, OVERLOAD_WORDS

if TYPE_CHECKING:
    import polars as pl

_BAD_SHOWN = 3
_WORDS = sorted(BLANK_WORDS | OVERLOAD_WORDS)
_GROUP_PATTERNS = {
    ",": r"^[+-]?[0-9]{1,3}(?:\.[0-9]{3})+(?:,[0-9]*)?(?:[eE][+-]?[0-9]+)?$",
    ".": r"^[+-]?[0-9]{1,3}(?:,[0-9]{3})+(?:\.[0-9]*)?(?:[eE][+-]?[0-9]+)?$",
}
_SPACED = r"^[+-]?[0-9]{1,3}(?:[ '][0-9]{3})+(?:[.,][0-9]*)?$"


@dataclass(frozen=True, slots=True)
class Figures:
    """`values` Float64 with nulls; `bad` are (row in the piece, cell) that are no figure."""

    values: pl.Series
    bad: tuple[tuple[int, str], ...]
    n_bad: int
    n_overload: int


def tidy_column(cells: pl.Series, *, is_plain: bool = False) -> pl.Series:
    """Padding, quotes and odd spaces off; nothing left is null. Plain: ASCII without quotes."""
    tidied = cells.str.strip_chars()
    if is_plain:
        return tidied.set(tidied == "", None)
    if tidied.str.contains(r"[^\x00-\x7f]").any():
        for odd, plain in (("[\u00a0\u202f\u2009\u2007]", " "), ("−", "-"), ("’", "'")):
            tidied = tidied.str.replace_all(odd, plain)
        tidied = tidied.str.strip_chars()
    if tidied.str.contains(r"^[\"'].*[\"']$").any():
        tidied = tidied.str.replace(r"^[\"'](.*)[\"']$", "$1").str.strip_chars()
    return tidied.set(tidied == "", None)


def read_figures(
    cells: pl.Series, *, mark: str, suffix: str | None = None, is_plain: bool = False
) -> Figures:
    """Read one column of text as figures with this decimal mark."""
    import polars as pl

    tidied = tidy_column(cells, is_plain=is_plain)
    if suffix is not None:
        tidied = tidied.str.strip_suffix(suffix).str.strip_chars_end()
    other = "." if mark == "," else ","
    has_other = tidied.str.contains(other, literal=True).any()
    plain = tidied if has_other or mark == "." else tidied.str.replace(",", ".", literal=True)
    if has_other and mark == ",":
        values = pl.Series([None], dtype=pl.Float64).new_from_index(0, len(tidied))
    else:
        values = plain.cast(pl.Float64, strict=False)
    left = tidied.is_not_null() & values.is_null()
    if not left.any():
        return Figures(_finite(values), (), 0, 0)
    rows = left.arg_true()
    rest = tidied.gather(rows)
    read, n_overload = _read_rest(rest, mark)
    values = _finite(values.scatter(rows, read))
    bad = rows.filter(read.is_null() & ~_no_reading(rest))
    shown = tuple((int(r), str(tidied[int(r)])) for r in bad.head(_BAD_SHOWN))
    return Figures(values, shown, len(bad), n_overload)


def _no_reading(cells: pl.Series) -> pl.Series:
    words = cells.str.to_lowercase()
    return words.is_in(_WORDS) | words.str.contains(r"^[-–—*.?#_]+$")


def _finite(values: pl.Series) -> pl.Series:
    return values.set(values.is_infinite().fill_null(False), None)


def _read_rest(cells: pl.Series, mark: str) -> tuple[pl.Series, int]:
    """The cells that don't read at once: words for no reading, grouped thousands, the mark."""
    import polars as pl

    other = "." if mark == "," else ","
    cell = pl.col("cell")
    ungrouped = (
        pl.when(cell.str.contains(_SPACED))
        .then(cell.str.replace_all("[ ']", ""))
        .when(cell.str.contains(_GROUP_PATTERNS[mark]))
        .then(cell.str.replace_all(other, "", literal=True))
        .otherwise(cell)
    )
    pointed = (
        pl.when(ungrouped.str.contains(other, literal=True))
        .then(pl.lit(None, dtype=pl.String))
        .otherwise(ungrouped.str.replace(",", ".", literal=True) if mark == "," else ungrouped)
    )
    read = pl.DataFrame({"cell": cells}).select(
        pointed.cast(pl.Float64, strict=False).alias("value"),
        cell.str.to_lowercase().is_in(sorted(OVERLOAD_WORDS)).alias("overload"),
    )
    return read.get_column("value"), int(read.get_column("overload").sum())
