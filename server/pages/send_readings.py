"""Readings by hand, row by row: units chosen once, a number keyboard on a phone."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from functools import partial
from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import Response

from server.dependencies import Viewer, WriteSession
from server.dependencies.keeping import KeptUpload
from server.dependencies.limits import Limited
from server.dependencies.resources import resources_of
from server.dependencies.threads import in_receiver
from server.errors import Problem, Unusable
from server.pages.drafting import Posted
from server.pages.request import site_of
from server.pages.send import keep_draft, sender_of
from server.pages.send_fields import problem_words
from server.pages.send_file import keep_table
from server.pages.send_pages import head_of, steps_of
from server.pages.send_shapes import Step
from server.pages.send_typed import TypedKept
from server.pages.shapes import Head, Option
from server.pages.templating import render
from server.sign_in import FORM_FIELD, check_form, check_same_site

router = APIRouter(route_class=TypedKept)
FIRST_ROWS = 6
MORE_ROWS = 4
MOST_ROWS = 200
_NUMBER = re.compile(r"[+\-−]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?")
_TWO_WAYS = re.compile(r"[+\-−]?[1-9]\d{0,2}[.,]\d{3}")
_SENT_NAME = "readings by hand.csv"


@dataclass(frozen=True, slots=True)
class Quantity:
    """One thing that is read: `units` are (as written in the file's header, as shown)."""

    word: str
    label: str
    units: tuple[tuple[str, str], ...]


def _plain(*units: str) -> tuple[tuple[str, str], ...]:
    return tuple((unit, unit) for unit in units)


QUANTITIES = (
    Quantity("voltage", "Volts", _plain("V")),
    Quantity("current", "Amps", _plain("A", "mA")),
    Quantity("power", "Watts", _plain("W", "kW")),
    Quantity("torque", "Torque", _plain("N·m", "mN·m", "kgf·cm", "lbf·in", "ozf·in", "lbf·ft")),
    Quantity("force", "Force on the arm", _plain("N", "gf", "kgf", "lbf", "ozf")),
    Quantity("speed", "Speed", (("1/min", "r/min"), ("rad/s", "rad/s"))),
)


@dataclass(frozen=True, slots=True)
class UnitShown:
    name: str
    label: str
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class CellShown:
    name: str
    label: str
    short: str
    value: str


@dataclass(frozen=True, slots=True)
class ReadingRow:
    number: int
    cells: tuple[CellShown, ...]


@dataclass(frozen=True, slots=True)
class ReadingsPage:
    head: Head
    steps: tuple[Step, ...]
    problems: tuple[str, ...]
    units: tuple[UnitShown, ...]
    rows: tuple[ReadingRow, ...]
    can_add: bool
    n_more_rows: int = MORE_ROWS


def readings_page(
    form: Mapping[str, str], *, n_rows: int, problems: tuple[str, ...] = ()
) -> ReadingsPage:
    return ReadingsPage(
        head=head_of("file", "/send/readings"),
        steps=steps_of("file", None),
        problems=problems,
        units=tuple(_unit(one, form) for one in QUANTITIES),
        rows=tuple(_row(number, form) for number in range(1, n_rows + 1)),
        can_add=n_rows < MOST_ROWS,
    )


def _unit(quantity: Quantity, form: Mapping[str, str]) -> UnitShown:
    name = f"unit.{quantity.word}"
    chosen = form.get(name, quantity.units[0][0])
    options = tuple(Option(word, text, word == chosen) for word, text in quantity.units)
    return UnitShown(name, quantity.label, options)


def _row(number: int, form: Mapping[str, str]) -> ReadingRow:
    cells = []
    for one in QUANTITIES:
        name = f"row.{number}.{one.word}"
        label = f"{one.label}, load {number}"
        cells.append(CellShown(name, label, one.label, form.get(name, "")))
    return ReadingRow(number, tuple(cells))


def rows_of(form: Mapping[str, str]) -> int:
    """How many rows a posted form has: the highest number in it, within bounds."""
    numbers = [
        int(parts[1])
        for name in form
        if len(parts := name.split(".")) == 3 and parts[0] == "row" and parts[1].isdecimal()
        and len(parts[1]) < 5
    ]  # fmt: skip
    return min(max([FIRST_ROWS, *numbers]), MOST_ROWS)


def table_of(form: Mapping[str, str]) -> str:
    """The typed rows as delimited text with units in the header; columns left blank are left out.

    A comma in a figure is its decimal mark, for phones offer only the one of their language; but
    not where it groups thousands, as other cells show.
    """
    proven = _proven(form)
    rows = [
        [_figure(form.get(f"row.{number}.{one.word}", ""), proven) for one in QUANTITIES]
        for number in range(1, rows_of(form) + 1)
    ]
    rows = [row for row in rows if any(row)]
    used = [i for i in range(len(QUANTITIES)) if any(row[i] for row in rows)]
    header = ["load step"]
    for i in used:
        quantity = QUANTITIES[i]
        known = [word for word, _ in quantity.units]
        chosen = form.get(f"unit.{quantity.word}", known[0])
        header.append(f"{quantity.word} [{chosen if chosen in known else known[0]}]")
    lines = [";".join(header)]
    lines += [
        ";".join([str(step), *(row[i] for i in used)]) for step, row in enumerate(rows, start=1)
    ]
    return "\n".join(lines) if rows else ""


def wrong_cells(form: Mapping[str, str]) -> tuple[str, ...]:
    """Each cell that is no figure, by load and quantity."""
    found = []
    proven = _proven(form)
    for number in range(1, rows_of(form) + 1):
        for one in QUANTITIES:
            typed = _figure(form.get(f"row.{number}.{one.word}", ""), proven)
            if not typed or _NUMBER.fullmatch(typed):
                continue
            told = f"Load {number}, {one.label.casefold()}: “{typed[:40]}”"
            if _TWO_WAYS.fullmatch(typed):
                # A phone may offer no point: a further zero says as much.
                whole = typed.replace(",", "")
                found.append(f"{told} can be read two ways. Write {whole}, or {typed}0.")
            else:
                found.append(f"{told} is no figure. Correct it or leave it blank.")
    return tuple(found)


def _tidy(typed: str) -> str:
    """Without what groups thousands as a space or an apostrophe, as these pages print them."""
    plain = " ".join(typed.split()).replace(";", " ")
    return re.sub(r"(?<=\d)[ '’](?=\d{3}(?!\d))", "", plain)


def _proven(form: Mapping[str, str]) -> frozenset[str]:
    """The decimal marks that some cell shows beyond doubt: “4,5” does, “17,500” does not."""
    cells = (_tidy(value) for name, value in form.items() if name.startswith("row."))
    return frozenset(
        mark
        for cell in cells
        for mark, other in (",.", ".,")
        if cell.count(mark) == 1 and other not in cell and not _TWO_WAYS.fullmatch(cell)
    )


def _figure(typed: str, proven: frozenset[str]) -> str:
    """The cell with a decimal point; with its comma where that can be read two ways."""
    plain = _tidy(typed)
    if "," in plain and "." in plain:
        groups = "," if plain.rindex(".") > plain.rindex(",") else "."
        plain = plain.replace(groups, "")
    elif _TWO_WAYS.fullmatch(plain):
        mark, other = (",", ".") if "," in plain else (".", ",")
        if mark not in proven and other in proven:
            return plain.replace(mark, "")
        if mark == "," and mark not in proven:
            return plain
    return plain.replace(",", ".") if plain.count(",") == 1 else plain


@router.get("/send/readings")
def show_readings(request: Request, viewer: Viewer) -> Response:
    page = readings_page({}, n_rows=FIRST_ROWS)
    return render(request, "send_readings.html", page, site=site_of(request, viewer))


@dataclass(frozen=True, slots=True)
class _Tried:
    """What came of the posted rows. `kept` None: they are asked for once more."""

    kept: KeptUpload | None
    problems: tuple[str, ...] = ()


async def _tried(request: Request, viewer: Viewer, posted: Posted) -> _Tried:
    check_same_site(request)
    if viewer is not None:
        check_form(request, posted.get(FORM_FIELD))
    if posted.get("act") == "add":
        return _Tried(None)
    table = table_of(posted)
    if not table:
        problem = Problem("No row holds a reading.", "Type at least one load.", field="row")
        return _Tried(None, (f"{problem.message} {problem.remedy}",))
    wrong = wrong_cells(posted)
    if wrong:
        return _Tried(None, wrong)
    work = partial(keep_table, request, table, name=_SENT_NAME)
    try:
        return _Tried(await in_receiver(resources_of(request), work))
    except Unusable as error:
        return _Tried(None, tuple(problem_words(one) for one in error.problems))


@router.post("/send/readings", dependencies=[Limited("trial")])
def keep_readings(
    request: Request,
    viewer: Viewer,
    posted: Posted,
    tried: Annotated[_Tried, Depends(_tried)],
    session: WriteSession,
) -> Response:
    """Keep the rows as a draft; or give the form back with more rows, or with what is wrong."""
    if tried.kept is None:
        n_rows = rows_of(posted)
        if posted.get("act") == "add":
            n_rows = min(n_rows + MORE_ROWS, MOST_ROWS)
        page = readings_page(posted, n_rows=n_rows, problems=tried.problems)
        status = 422 if tried.problems else 200
        site = site_of(request, viewer)
        return render(request, "send_readings.html", page, status=status, site=site)
    sender = sender_of(request, session, viewer=viewer)
    return keep_draft(request, session, sender=sender, kept=tried.kept)
