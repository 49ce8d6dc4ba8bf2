"""How a log will be read: its dialect, what every column is, and in which form each is wanted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from server.errors import Problem, TooLarge
from server.intake.columns import Understood, understand
from server.intake.dialect import Dialect, find_dialect
from server.intake.fast import Want
from server.intake.limits import ReadLimits
from server.intake.text import Text
from server.model.bench import ColumnChoice
from server.model.words import Channel


@dataclass(frozen=True, slots=True)
class Plan:
    """`problems`: what keeps the file from being used."""

    dialect: Dialect
    columns: tuple[Understood, ...]
    problems: list[Problem]

    def wants(self) -> list[Want]:
        """One for each column of the file, a trailing blank one included."""
        wanted = [_want(c) for c in self.columns]
        spare = Want("text", "", is_strict=False)
        return wanted + [spare] * (self.dialect.width - len(wanted))


def make_plan(
    text: Text,
    choices: Sequence[ColumnChoice],
    pulses_per_revolution: float | None,
    *,
    name: str,
    limits: ReadLimits,
) -> Plan:
    """Raises UnusableLog where nothing reads as columns, TooLarge where there are too many."""
    dialect = find_dialect(text, name=name)
    if dialect.width > limits.max_columns:
        raise TooLarge(
            f"{name} has {dialect.width:,} columns; the limit is {limits.max_columns:,} "
            "(BENCHLEDGER_MAX_COLUMNS). Leave out what the test does not need."
        )
    problems: list[Problem] = []
    width = dialect.width - (1 if dialect.trailing_blank else 0)
    headers = dialect.headers
    if headers is None:
        if not choices:
            problems.append(
                Problem(
                    "there is no header: the columns have no names.",
                    "Add a line of names above the readings, or say what each column is "
                    "(“column 1”, “column 2” and so on in [columns] of a bench file).",
                )
            )
        headers = tuple(f"column {i + 1}" for i in range(width))
    if len(headers) < width:
        problems.append(
            Problem(
                f"the header has {len(headers)} columns, the readings have {width}.",
                "Give every column a name, or take the extra ones out.",
                row=(dialect.header_line or 0) + 1,
            )
        )
        headers = (*headers, *(f"column {i + 1}" for i in range(len(headers), width)))
    columns, found = understand(
        headers[:width],
        dialect.units,
        dialect.cells,
        suffixes=dialect.suffixes,
        choices=choices,
        pulses_per_revolution=pulses_per_revolution,
    )
    return Plan(dialect, tuple(columns), [*problems, *found])


def _want(understood: Understood) -> Want:
    column = understood.column
    if understood.is_clock or understood.is_text:
        return Want("text", column.header, is_strict=False)
    if column.channel is Channel.TIME:
        return Want("float64", column.header, is_strict=True)
    return Want("float32", column.header, is_strict=column.channel is not None)
