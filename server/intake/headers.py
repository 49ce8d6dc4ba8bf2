"""One header: its name, and the unit that stands in it or under it."""

from __future__ import annotations

import re
from dataclasses import dataclass

from server.intake import vocabulary
from server.intake.cells import is_blank
from server.intake.dialect import bare_unit
from server.units import channel_kind, find_unit, is_spelled_out, kinds_of

_BRACKETS = re.compile(r"[\[({<]([^\[\](){}<>]*)[\])}>]")
_AFTER = re.compile(r"^(?P<name>[^,/]+?)\s*(?:,|\s/\s|/)\s*(?P<unit>[^,]+)$")


@dataclass(frozen=True, slots=True)
class Header:
    """`unit` is as written; `is_marked` where it plainly is meant as one (brackets, units row)."""

    text: str
    name: str
    unit: str | None
    is_marked: bool
    place: str


def read_header(text: str, units_cell: str | None) -> Header:
    """Split a header into name and unit. A units row counts before what the header says."""
    below = bare_unit(units_cell) if units_cell is not None else ""
    if below and not is_blank(below):
        name, _, _ = _split(text)
        return Header(text, name, below, True, "in the units row")
    whole = [w for w in re.split(r"[\s_]+", text.strip()) if w]
    if whole and _joined_unit(whole) and not text.strip().isdigit():
        # Nothing but a unit: "rpm", "N·m". A single letter may be a symbol as well.
        return Header(text, text, text.strip(), len(text.strip()) > 1, "in the header")
    name, unit, is_marked = _split(text)
    return Header(text, name, unit, is_marked, "in the header")


def _is_unit(text: str) -> bool:
    return bool(kinds_of(text))


def _split(text: str) -> tuple[str, str | None, bool]:
    bracketed = [b.strip() for b in _BRACKETS.findall(text)]
    if bracketed:
        name = _BRACKETS.sub(" ", text).strip(" :_-/,") or text
        # hp (metric): the bracket belongs to the unit before it.
        for inside in reversed(bracketed):
            if inside and _is_unit(inside) and not _only_qualifies(inside, name):
                return name, inside, True
        for inside in reversed(bracketed):
            cleaned = _unqualified(inside)
            if cleaned and _is_unit(cleaned) and cleaned != inside:
                return name, cleaned, True
        rest = _split_tail(name)
        if rest[1] is not None:
            return rest
        unknown = [b for b in bracketed if b and not vocabulary.QUALIFIERS.fullmatch(b.casefold())]
        return name, (unknown[-1] if unknown else None), bool(unknown)
    return _split_tail(text)


def _only_qualifies(inside: str, name: str) -> bool:
    """ "Voltage (L1)" or "Strom (1)": short marks that are units elsewhere only."""
    return inside.isdigit() and bool(name)


def _unqualified(inside: str) -> str:
    return re.sub(r"(?i)\b(true|rms|avg|mean|ac|dc|eff)\b|~", "", inside).strip(" ,;_-")


def _split_tail(text: str) -> tuple[str, str | None, bool]:
    """The unit as the last words of a header, or after a comma, a slash or "in"."""
    words = [w for w in re.split(r"[\s_]+|(?<=[a-z])-(?=[A-Za-z])|:", text.strip()) if w]
    for n in (4, 3, 2, 1):
        if len(words) <= n:
            continue
        unit = _joined_unit(words[-n:])
        if unit is not None and not unit.isdigit():
            name = " ".join(words[:-n])
            bare = re.sub(r"\s*(?:[,/:;]|\bin)\s*$", "", name)
            return bare, unit, bare != name
    found = _AFTER.match(text.strip())
    if found and _is_unit(found["unit"].strip()):
        return found["name"].strip(), found["unit"].strip(), True
    return text.strip(), None, False


def _joined_unit(words: list[str]) -> str | None:
    """The unit that these words make together, "N m" or "in lb", where they mean nothing else.

    "M_Nm" is a torque M in newton metres, not a unit of its own.
    """
    unit = "".join(words)
    if not _is_unit(unit):
        return None
    if len(words) == 1:
        return unit
    symbol = vocabulary.SYMBOLS.get(words[0]) or vocabulary.WEAK_SYMBOLS.get(words[0])
    if symbol is not None and find_unit("".join(words[1:]), channel_kind(symbol)) is not None:
        return None
    one_case = unit.islower() or unit.isupper()
    return " ".join(words) if one_case or is_spelled_out(unit) else None


def unit_for(header: Header, kind: str) -> str | None:
    """The shown name of the header's unit if it is one of this kind."""
    if header.unit is None:
        return None
    written = header.unit
    # In a header all in capitals, capitals tell nothing: POWER_MW is milliwatt there.
    if not header.is_marked and header.text.isupper() and len(header.text) > len(written) + 1:
        written = written.lower()
    return find_unit(written, kind)
