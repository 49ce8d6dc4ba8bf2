"""What one cell of a log can be: blank, a number, a clock reading, or words."""

from __future__ import annotations

import re
from enum import StrEnum
from functools import lru_cache

SPACES = " \u00a0\u202f\u2009\u2007"  # plain, no-break, narrow no-break, thin, figure


class Cell(StrEnum):
    BLANK = "blank"
    NUMBER = "number"
    CLOCK = "clock"
    WORDS = "words"
    JUNK = "junk"


# What loggers print where they have no reading, and where the input was too large for the range.
BLANK_WORDS = frozenset(
    {"", "-", "--", "---", "----", "–", "—", "?", "*", "nan", "+nan", "-nan", "n/a", "na", "n.a."}
    | {"#n/a", "null", "none", "nil", "nul", "void", "missing", "err", "error", "#div/0!", "open"}
    | {"#value!", "#num!", "#ref!", "1.#qnan", "-1.#ind", "nan(ind)", "-nan(ind)", "invalid"}
)
OVERLOAD_WORDS = frozenset(
    {"ol", "+ol", "-ol", "o.l", "o.l.", "0l", "0.l", "ovl", "ovld", "ovr", "ovrld", "ovf", "over"}
    | {"overload", "overrange", "over range", "overflow", "inf", "+inf", "-inf", "infinity"}
    | {"∞", "+∞", "-∞", "1.#inf"}
)
_FILL = re.compile(r"[-–—*.?#_]+")

_EXPONENT = r"(?:[eE][+-]?\d+)?"
DOT_NUMBER = re.compile(rf"[+-]?(?:\d+(?:\.\d*)?|\.\d+){_EXPONENT}")
COMMA_NUMBER = re.compile(rf"[+-]?(?:\d+,\d+|,\d+){_EXPONENT}")
_GROUPED = {
    ".": re.compile(r"[+-]?\d{1,3}(?:\.\d{3})+(?:,\d+)?"),
    ",": re.compile(r"[+-]?\d{1,3}(?:,\d{3})+(?:\.\d+)?"),
    " ": re.compile(r"[+-]?\d{1,3}(?: \d{3})+(?:[.,]\d+)?"),
    "'": re.compile(r"[+-]?\d{1,3}(?:'\d{3})+(?:[.,]\d+)?"),
}

_DATE = (
    r"(?:\d{4}[-/.]\d{1,2}[-/.]\d{1,2}|\d{1,2}[-/.]\d{1,2}[-/.]\d{4}"
    r"|\d{1,2}[- ][A-Za-zéûä]{3,4}\.?[- ]\d{4}|\d{8})"
)
_TIME = r"\d{1,3}:\d{2}(?::\d{2}(?:[.,:]\d+)?|[.,]\d+)?(?:\s*[AaPp]\.?[Mm]\.?)?"
_ZONE = r"(?:\s*(?:Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2}))?"
DATE = re.compile(_DATE)
TIME = re.compile(_TIME)
DATE_TIME = re.compile(
    rf"(?:{_DATE}(?:T|\s+|[-_,]\s*){_TIME}{_ZONE}|\d{{8}}T\d{{6}}(?:[.,]\d+)?{_ZONE})"
)


def tidy(cell: str) -> str:
    """A cell without padding, wrapping quotes, and with one kind of space, minus and apostrophe."""
    if not cell.isascii():
        for space in SPACES[1:]:
            cell = cell.replace(space, " ")
        cell = cell.replace("−", "-").replace("’", "'")
    cell = cell.strip()
    if len(cell) >= 2 and cell[0] == cell[-1] and cell[0] in "\"'":
        cell = cell[1:-1].strip()
    return cell


def is_blank(cell: str) -> bool:
    word = cell.casefold()
    return word in BLANK_WORDS or word in OVERLOAD_WORDS or bool(_FILL.fullmatch(word))


@lru_cache(maxsize=8192)
def grouping(cell: str) -> str | None:
    """The mark that groups thousands in this number, where the cell can be read so."""
    return next((m for m, p in _GROUPED.items() if m in cell and p.fullmatch(cell)), None)


def is_number(cell: str) -> bool:
    return bool(
        DOT_NUMBER.fullmatch(cell) or COMMA_NUMBER.fullmatch(cell) or grouping(cell) is not None
    )


def is_clock(cell: str) -> bool:
    return bool(TIME.fullmatch(cell) or DATE_TIME.fullmatch(cell) or _plain_date(cell))


def _plain_date(cell: str) -> bool:
    # Eight digits in a row are a number unless they stand with a time.
    return bool(DATE.fullmatch(cell)) and not cell.isdigit()


_WITH_UNIT = re.compile(r"([+-]?[\d.,' ]*\d)\s*([A-Za-zµμΩ°%][A-Za-zµμΩ°%/·*.\-0-9²]*)")


def split_unit(cell: str) -> tuple[str, str] | None:
    """ "230.1 V" -> ("230.1", "V")."""
    found = _WITH_UNIT.fullmatch(cell)
    return (found.group(1), found.group(2)) if found and is_number(found.group(1)) else None


@lru_cache(maxsize=8192)  # a cell of the head is looked at once for each separator
def kind_of(cell: str) -> Cell:
    """What a tidied cell is. Junk is what no separator leaves behind on purpose."""
    if DOT_NUMBER.fullmatch(cell):
        return Cell.NUMBER
    if is_blank(cell):
        return Cell.BLANK
    if is_number(cell):
        return Cell.NUMBER
    if is_clock(cell):
        return Cell.CLOCK
    if any(c.isalpha() for c in cell) and not any(c in cell for c in ";\t|"):
        return Cell.WORDS
    return Cell.JUNK
