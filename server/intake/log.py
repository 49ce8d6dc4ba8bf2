"""A log file to a checked recording: the door of this room."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any

from server.errors import Problem, TooLarge, UnusableLog
from server.intake.ahead import ReadAhead
from server.intake.assemble import assemble
from server.intake.cells import tidy
from server.intake.columns import Understood
from server.intake.dialect import SEPARATOR_NAMES, Dialect
from server.intake.ending import find_ending
from server.intake.limits import ReadLimits
from server.intake.plan import Plan, make_plan
from server.intake.strips import head_figures
from server.intake.table import read_table
from server.intake.text import Text, open_text
from server.model.bench import ColumnChoice
from server.model.measured import JsonValue
from server.model.recording import LogPreview, LogRead
from server.model.words import Channel, RunKind

_LIMITS = ReadLimits()
# What a run of each kind can't do without: one channel of each group. Other kinds need none.
REQUIRED: Mapping[RunKind, tuple[tuple[Channel, ...], ...]] = {
    RunKind.BRAKE: ((Channel.SPEED,), (Channel.FORCE, Channel.TORQUE)),
    RunKind.RUN_DOWN: ((Channel.SPEED,),),
    RunKind.RUN_UP: ((Channel.SPEED,),),
    RunKind.IN_USE: ((Channel.SPEED,),),
    RunKind.LOCKED_ROTOR: ((Channel.CURRENT, Channel.POWER),),
}
# Kinds whose rows may each be a load by itself, so that no time is needed.
TIMELESS = frozenset({RunKind.IN_USE, RunKind.LOCKED_ROTOR})


def read_log(
    path: Path,
    *,
    name: str,
    choices: Sequence[ColumnChoice] = (),
    pulses_per_revolution: float | None = None,
    kind: RunKind = RunKind.BRAKE,
    rows_are_points: bool = False,
    limits: ReadLimits = _LIMITS,
    sheet: str | None = None,
    ahead: ReadAhead | None = None,
) -> LogRead:
    """Read a whole log. Raises UnusableLog with every problem found, or TooLarge.

    `sheet`: which one of a workbook; the one with the most numbers where none is named.
    `rows_are_points`: readings noted one by one, which need no time. `ahead`: what `ReadingAhead`
    read of this file while it arrived; the recording is the same with it and without.
    """
    with open_text(path, name=name, limits=limits, sheet=sheet) as text:
        plan = make_plan(text, choices, pulses_per_revolution, name=name, limits=limits)
        problems = _all_problems(plan, choices, kind)
        if problems:
            raise UnusableLog(name, problems)
        ending = find_ending(text, plan.dialect)
        _check_rows(text, plan.dialect, limits, name=name)
        table = read_table(text, plan.dialect, plan.wants(), end=ending.end, ahead=ahead)
        dialect = _described(text, plan.dialect)
    n_rows = len(table.columns[0])
    if n_rows > limits.max_rows and not table.problems:
        raise _too_many_rows(name, n_rows, limits)
    notes: dict[str, JsonValue] = {}
    if ending.cut is not None:
        notes["last_line_cut"] = {"row": table.first_line + n_rows, "text": ending.cut}
    elif ending.lacks_newline:
        notes["last_newline_missing"] = True
    recording = assemble(
        table,
        plan.columns,
        plan.dialect,
        notes=notes,
        name=name,
        needs_time=not (rows_are_points or kind in TIMELESS),
    )
    columns = tuple(c.column for c in plan.columns)
    return LogRead(recording, columns, dialect, len(recording.time_s))


def preview_log(
    path: Path,
    *,
    name: str,
    choices: Sequence[ColumnChoice] = (),
    pulses_per_revolution: float | None = None,
    kind: RunKind = RunKind.BRAKE,
    limits: ReadLimits = _LIMITS,
    sheet: str | None = None,
    n_rows: int = 8,
) -> LogPreview:
    """The head of a log for the column check. Raises UnusableLog only where nothing can be read."""
    with open_text(path, name=name, limits=limits, sheet=sheet) as text:
        plan = make_plan(text, choices, pulses_per_revolution, name=name, limits=limits)
        dialect = _described(text, plan.dialect)
    problems = _all_problems(plan, choices, kind)
    width = len(plan.columns)
    return LogPreview(
        preamble=plan.dialect.preamble,
        columns=tuple(c.column for c in plan.columns),
        rows=tuple(tuple(tidy(c) for c in r[:width]) for r in plan.dialect.raw_rows[:n_rows]),
        dialect=dialect,
        rows_at=plan.dialect.rows_at[:n_rows],
        problems=tuple(str(p) for p in problems),
        strips=head_figures(plan),
    )


def _all_problems(plan: Plan, choices: Sequence[ColumnChoice], kind: RunKind) -> list[Problem]:
    if plan.dialect.headers is None and not choices:
        return plan.problems  # without names, what is missing needs no list of its own
    return [*plan.problems, *_missing_channels(plan.columns, kind)]


def _missing_channels(columns: Sequence[Understood], kind: RunKind) -> list[Problem]:
    has = {c.column.channel for c in columns}
    missing = []
    for group in REQUIRED.get(kind, ()):
        if not has & set(group):
            words = " or ".join(c.value for c in group)
            name = kind.value.replace("_", "-")
            article = "an" if name[0] in "aeiou" else "a"
            headers = ", ".join(f"“{c.column.header}”" for c in columns[:30])
            missing.append(
                Problem(
                    f"no column is {words}, which {article} {name} run needs.",
                    f"Say which one it is ([columns] in a bench file); the columns are {headers}.",
                )
            )
    return missing


def _check_rows(text: Text, dialect: Dialect, limits: ReadLimits, *, name: str) -> None:
    """Refuse before reading. Lines are counted only where the file could hold too many."""
    if text.n_bytes // max(2 * dialect.width - 1, 1) <= limits.max_rows:
        return
    n_lines = 0
    with text.path.open("rb") as file:
        while piece := file.read(1 << 22):
            n_lines += piece.count(b"\n")
    if n_lines - dialect.first_line > limits.max_rows:
        raise _too_many_rows(name, n_lines - dialect.first_line, limits)


def _too_many_rows(name: str, n_rows: int, limits: ReadLimits) -> TooLarge:
    return TooLarge(
        f"{name} has {n_rows:,} rows; the limit is {limits.max_rows:,} "
        "(BENCHLEDGER_MAX_ROWS). Thin it out or split it."
    )


def _described(text: Text, dialect: Dialect) -> dict[str, Any]:
    marks = sorted(set(dialect.marks))
    return {
        "encoding": text.encoding,
        "line_end": text.line_end,
        "separator": SEPARATOR_NAMES[dialect.separator],
        "decimal_mark": marks[0] if len(marks) == 1 else " and ".join(marks),
        "header_row": None if dialect.header_line is None else dialect.header_line + 1,
        "has_units_row": dialect.units is not None,
        "first_row": dialect.first_line + 1,
        "n_columns": dialect.width - (1 if dialect.trailing_blank else 0),
        **dialect.notes,
        **(text.sheet.described() if text.sheet is not None else {}),
    }
