"""Units of measurement: what people and loggers print, to SI and back.

A name is looked up in our own table (`unit_names.txt`) first; only the expression standing there
is handed to pint, whose registry is our closed file (`units.txt`). A user's text is never
evaluated. Plain "hp" is the mechanical one, 745.699 871 582 W.
"""

from __future__ import annotations

import re
import unicodedata
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from threading import Lock
from typing import TYPE_CHECKING

from server.errors import UnitError
from server.model.words import Channel

if TYPE_CHECKING:
    import pint

_HERE = Path(__file__).parent
_ONE_AT_A_TIME = Lock()

# Kinds that a bench file states and no log has a column of: their units say nothing of a header.
_NEVER_LOGGED = frozenset({"angle", "resistance", "temperature_coefficient"})
_FORCES = {
    "N": ("newton", ()),
    "mN": ("millinewton", ()),
    "kN": ("kilonewton", ()),
    "kgf": ("kilogram_force", ("kg", "kp")),
    "gf": ("gram_force", ("g", "p")),
    "lbf": ("pound_force", ("lb", "lbs", "pound", "pounds", "pound force")),
    "ozf": ("ounce_force", ("oz", "ounce", "ounces", "ounce force")),
}
_LENGTHS = {
    "m": ("meter", ("metre",)),
    "cm": ("centimeter", ()),
    "mm": ("millimeter", ()),
    "in": ("inch", ("inch", "inches", '"')),
    "ft": ("foot", ("foot", "feet", "'")),
}


_USUAL_TORQUES = "N·m, mN·m, N·cm, kgf·m, kgf·cm, gf·cm, lbf·ft, lbf·in, ozf·in"


@dataclass(frozen=True, slots=True)
class Conversion:
    """SI value = value × scale + offset. `unit` is the name as we show it."""

    unit: str
    scale: float
    offset: float
    si_unit: str


@dataclass(frozen=True, slots=True)
class _Kind:
    si_expression: str
    si_unit: str
    names: dict[str, str]  # shown name -> pint expression, in the order of the file
    exact: dict[str, str]  # folded spelling -> shown name
    folded: dict[str, str]  # the same without capitals


def fold(text: str) -> str:
    """A spelling without what people leave out or write differently; capitals stay."""
    text = re.sub("Â(?=[°·µ²³])", "", text)  # UTF-8 that some tool has read as Latin-1
    text = unicodedata.normalize("NFKC", text.replace("°", "\x01").replace("º", "\x01"))
    text = text.replace("μ", "u").replace("µ", "u").replace("\x01", "°").replace("−", "-")
    return re.sub(r"[\s.·⋅•×*^_\-‐‑–]", "", text) or text.strip()


def _torque_lines() -> list[tuple[str, str, list[str]]]:
    """Force × length in both orders: "lbf·in", "in·lb", "kg·cm" are the same thing."""
    lines = []
    for force, (force_expression, force_names) in _FORCES.items():
        for length, (length_expression, length_names) in _LENGTHS.items():
            shown = f"{force}·{length}"
            spellings = []
            for f in (force, *force_names):
                for n in (length, *length_names):
                    spellings += [f + n, f"{f}/{n}" if force == "lbf" else f + n]
                    # A newton turned round would read "mN", which is another unit.
                    if force not in {"N", "mN", "kN"}:
                        spellings.append(n + f)
            lines.append((shown, f"{force_expression} * {length_expression}", spellings))
    return lines


@lru_cache(maxsize=1)
def _table() -> tuple[dict[str, _Kind], dict[str, str]]:
    kinds: dict[str, _Kind] = {}
    refused: dict[str, str] = {}
    kind: _Kind | None = None
    for raw in (_HERE / "unit_names.txt").read_text(encoding="utf-8").splitlines():
        line = raw.strip()
        if not line or line.startswith("#"):
            continue
        if line.startswith("["):
            name, _, expression = line[1:-1].partition(" ")
            kind = None if name == "refused" else _Kind(expression, "", {}, {}, {})
            if kind is not None:
                kinds[name] = kind
            continue
        if line == "@torque":
            for shown, expression, names in _torque_lines():
                _add(kinds["torque"], shown, expression, names)
            continue
        shown, _, rest = line.partition(" = ") if " = " in line else (line, "", line)
        expression, _, names_text = rest.partition(" | ")
        names = [n.strip() for n in names_text.split(",") if n.strip()]
        if kind is None:
            refused |= {fold(n).casefold(): expression for n in (shown, *names)}
        else:
            _add(kind, shown, expression, names)
    for name, made in kinds.items():
        kinds[name] = _Kind(
            made.si_expression, next(iter(made.names)), made.names, made.exact, made.folded
        )
    return kinds, refused


def _add(kind: _Kind, shown: str, expression: str, names: list[str]) -> None:
    kind.names.setdefault(shown, expression)
    for name in (shown, *names):
        kind.exact.setdefault(fold(name), shown)
        kind.folded.setdefault(fold(name).casefold(), shown)


@lru_cache(maxsize=1)
def _registry() -> pint.UnitRegistry[float]:
    import pint

    return pint.UnitRegistry(str(_HERE / "units.txt"), on_redefinition="raise", cache_folder=None)


def _kind_name(kind: str) -> str:
    if kind in {"temperature_1", "temperature_2", "temperature_3", "temperature_4"}:
        return "temperature"
    return {"air_power": "power", "efficiency": "fraction", "pressure": "suction"}.get(kind, kind)


def _kind(kind: str) -> _Kind:
    kinds, _ = _table()
    try:
        return kinds[_kind_name(kind)]
    except KeyError:
        raise UnitError(f"“{kind}” is no quantity that has units here.") from None


def kinds() -> tuple[str, ...]:
    """Every kind of quantity that has units."""
    return tuple(_table()[0])


def known_units(kind: str) -> tuple[str, ...]:
    """The units of a kind as shown, its SI unit first."""
    return tuple(_kind(kind).names)


def find_unit(text: str, kind: str) -> str | None:
    """The shown name of a unit as printed, or None where the kind has none such."""
    table = _kind(kind)
    folded = fold(text)
    return table.exact.get(folded) or table.folded.get(folded.casefold())


def kinds_of(text: str) -> tuple[str, ...]:
    """Every kind that a log may have and that knows this spelling; those that tell capitals apart
    first."""
    folded = fold(text)
    table = {name: kind for name, kind in _table()[0].items() if name not in _NEVER_LOGGED}
    exact = [name for name, kind in table.items() if folded in kind.exact]
    loose = [
        name
        for name, kind in table.items()
        if folded not in kind.exact and folded.casefold() in kind.folded
    ]
    return (*exact, *loose)


def is_spelled_out(text: str) -> bool:
    """Whether this is a unit with its capitals as they should be; "n" is no newton."""
    folded = fold(text)
    table = _table()[0]
    return any(folded in kind.exact for name, kind in table.items() if name not in _NEVER_LOGGED)


@lru_cache(maxsize=2048)
def conversion(unit: str, kind: str) -> Conversion:
    """How a printed unit of this kind becomes SI."""
    refusal = _table()[1].get(fold(unit).casefold())
    shown = find_unit(unit, kind)
    if shown is None and refusal is not None:
        raise UnitError(f"“{unit}” can't be used: {refusal}.")
    table = _kind(kind)
    if shown is None:
        known = _USUAL_TORQUES if kind == "torque" else ", ".join(list(table.names)[:12])
        raise UnitError(f"“{unit}” is not a unit of {_kind_name(kind)} known here; known: {known}.")
    if shown == table.si_unit:
        return Conversion(shown, 1.0, 0.0, table.si_unit)
    # The registry fills tables of its own as it goes: two requests of a fresh process that asked at
    # once had "dimensionless" made of an inch.
    with _ONE_AT_A_TIME:
        return _worked_out(shown, table)


def _worked_out(shown: str, table: _Kind) -> Conversion:
    quantity = _registry().Quantity
    expression = table.names[shown]
    if expression.startswith("degree_") and table.si_expression == "kelvin":
        at_zero = float(quantity(0.0, expression).to("kelvin").magnitude)
        per_kelvin = float(quantity(1.0, "kelvin").to("delta_" + expression).magnitude)
        return Conversion(shown, 1.0 / per_kelvin, at_zero, table.si_unit)
    made = _registry().parse_expression(expression)
    scale = float(quantity(1.0 * made).to(table.si_expression).magnitude)
    return Conversion(shown, scale, 0.0, table.si_unit)


def convert(value: float, unit: str, kind: str) -> float:
    """A value in a printed unit of this kind, in SI."""
    by = conversion(unit, kind)
    return value * by.scale + by.offset


def from_si(value: float, unit: str, kind: str | None = None) -> float:
    """An SI value in the unit named. The kind is found from the unit where it isn't given."""
    if kind is None:
        candidates = kinds_of(unit)
        if not candidates:
            raise UnitError(f"“{unit}” is not a unit known here.")
        kind = candidates[0]
    by = conversion(unit, kind)
    return (value - by.offset) / by.scale


_NUMBER = re.compile(r"[+\-−±]?\s*(?:\d[\d.,'’   ]*|[.,]\d+)(?:[eE][+\-−]?\d+)?")


_SECOND_NUMBER = re.compile(r"(?:[-–—/]|to|bis|…|\.\.\.?)\s*\d")


def parse_number(text: str) -> float:
    """A number a person wrote: decimal point or comma, grouped thousands where unmistakable."""
    plain = re.sub(r"(?<=\d)[   '’](?=\d{3}(?!\d))", "", text.strip())
    plain = plain.replace("−", "-").removeprefix("±").strip()
    if "," in plain and "." in plain:
        group, mark = (",", ".") if plain.rindex(".") > plain.rindex(",") else (".", ",")
        if plain.count(mark) > 1:
            raise UnitError(f"“{text}” is no number.")
        plain = plain.replace(group, "").replace(mark, ".")
    elif plain.count(",") > 1 and re.fullmatch(r"[+\-]?\d{1,3}(,\d{3})+", plain):
        plain = plain.replace(",", "")
    elif re.fullmatch(r"[+\-]?[1-9]\d{0,2},\d{3}", plain):
        raise UnitError(
            f"“{text}” can be read two ways; write {plain.replace(',', '')} "
            f"or {plain.replace(',', '.')}."
        )
    else:
        plain = plain.replace(",", ".")
    try:
        value = float(plain)
    except ValueError:
        raise UnitError(f"“{text}” is no number.") from None
    if value in (float("inf"), float("-inf")):
        raise UnitError(f"“{text}” is too large to be a figure.")
    return value


def split_quantity(text: str) -> tuple[float, str]:
    """ "0.9 hp" -> (0.9, "hp"). The unit may be empty."""
    found = _NUMBER.match(text.strip())
    if found is None:
        raise UnitError(f"“{text}” does not start with a number.")
    unit = text.strip()[found.end() :].strip()
    if _SECOND_NUMBER.match(unit):
        raise UnitError(f"“{text}” names more than one figure; write the one that applies.")
    return parse_number(found.group()), unit


def to_si(text: str, kind: str) -> float:
    """A quantity as typed, number and unit, in the kind's SI unit."""
    value, unit = split_quantity(text)
    if not unit:
        if _kind_name(kind) in {"power_factor", "pulses", "digits", "brake_setting", "fraction"}:
            return value
        raise UnitError(
            f"“{text}” has no unit; write it like “{text.strip()} {_kind(kind).si_unit}”."
        )
    return convert(value, unit, kind)


def channel_kind(channel: Channel) -> str:
    """The kind of quantity a channel holds."""
    return _kind_name(channel.value)
