"""Read columns to a recording in SI, and the checks that only the readings can answer."""

from __future__ import annotations

import re
from collections.abc import Sequence
from typing import TYPE_CHECKING, Any

from server.errors import Problem, UnusableLog
from server.intake.cells import DATE
from server.intake.clocks import clock_seconds, find_clock, unwrap
from server.intake.columns import Understood
from server.intake.dialect import Dialect
from server.intake.figures import tidy_column
from server.intake.si_values import si_values
from server.intake.table import Table
from server.model.measured import JsonValue
from server.model.recording import Recording
from server.model.words import Channel
from server.units import convert, find_unit

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

_MAX_CHANGES = 500
_INTERVAL = re.compile(
    r"(?i)(?:sampl\w*|scan|log\w*|abtast\w*|mess|echantillon\w*|muestreo)[^\d\n]{0,30}?"
    r"(?:interval\w*|period\w*|rate|time|zeit|frequen\w*|intervall\w*|takt)?[^\d\n]{0,20}?"
    r"(?P<number>\d+(?:[.,]\d+)?)[\s,;]*(?P<unit>ms|msec|s|sec|µs|us|min|kHz|Hz|S/s|samples/s)\b"
)


def assemble(
    table: Table,
    columns: Sequence[Understood],
    dialect: Dialect,
    *,
    notes: dict[str, JsonValue],
    name: str,
    needs_time: bool = True,
    is_part: bool = False,
) -> Recording:
    """Make the recording. Raises UnusableLog with every problem found.

    `is_part`: of a log that is still being written. Every row is kept, one without a time as NaN,
    and a channel may have no reading yet.
    """
    import numpy as np

    problems = list(table.problems)
    if problems:
        raise UnusableLog(name, problems)
    time = _time(table, columns, dialect, notes, problems, needs_time=needs_time)
    if problems or time is None:
        raise UnusableLog(name, problems)
    keep: NDArray[np.bool_] | None = None
    if not is_part:
        time, keep = _rows_with_time(table, time, notes)
        _check_times(time, problems)
    channels: dict[Channel, NDArray[np.float32]] = {}
    extras: dict[str, NDArray[np.float32]] = {}
    for understood in columns:
        column = understood.column
        series = table.columns[column.position]
        if column.channel is Channel.TIME:
            continue
        if understood.is_text:
            _note_words(column.header, series, notes)
            continue
        values, has_reading = si_values(series, understood.conversion, keep=keep)
        if column.channel is None:
            if not column.header.strip() and not has_reading:
                continue  # a border or a trailing separator, not a column
            extras[_own_name(column.header, column.position, extras)] = values
            continue
        if not has_reading and not is_part:
            problems.append(_no_value(column.header, column.channel))
        channels[column.channel] = values
    if problems:
        raise UnusableLog(name, problems)
    _note_cells(table, columns, notes)
    start = time.min() if not is_part else np.min(time, where=np.isfinite(time), initial=np.inf)
    return Recording(time - start, channels, extras, notes)


def _rows_with_time(
    table: Table, time: NDArray[np.float64], notes: dict[str, JsonValue]
) -> tuple[NDArray[np.float64], NDArray[np.bool_] | None]:
    """The times that are there, and the rows they stand in; None for all of them."""
    import numpy as np

    has_time = np.isfinite(time)
    if has_time.all():
        return time, None
    _note_dropped(table, has_time, notes)
    return time[has_time], has_time


def _no_value(header: str, channel: Channel) -> Problem:
    return Problem(
        f"this column is {channel.value.replace('_', ' ')}, and it holds no reading.",
        "Leave the column out, or have it kept under its own name (“none” in a bench file's "
        "[columns]).",
        column=header,
    )


def _check_times(time: NDArray[np.float64], problems: list[Problem]) -> None:
    if len(time) < 2:
        problems.append(
            Problem(
                f"there {'is one usable row' if len(time) == 1 else 'are no usable rows'}.",
                "A log needs two rows or more, each with its time.",
            )
        )
    elif time.min() == time.max():
        problems.append(
            Problem(
                "every row has the same time.",
                "Log the time of each reading; two different times are the least.",
            )
        )


def _own_name(header: str, position: int, taken: dict[str, Any]) -> str:
    """Extras are kept by header; where headers repeat or are empty, the position tells."""
    plain = header.strip() or f"column {position + 1}"
    return plain if plain not in taken else f"{plain} (column {position + 1})"


def _time(
    table: Table,
    columns: Sequence[Understood],
    dialect: Dialect,
    notes: dict[str, JsonValue],
    problems: list[Problem],
    *,
    needs_time: bool,
) -> NDArray[np.float64] | None:
    import numpy as np
    import polars as pl

    found = next((c for c in columns if c.column.channel is Channel.TIME), None)
    if found is None and not needs_time:
        # Each row is a load by itself: they are numbered.
        notes["rows_without_time"] = True
        blank = np.ones(len(table.columns[0]), dtype=bool)
        for series in table.columns:
            blank &= series.is_null().to_numpy()
        return np.where(blank, np.nan, np.arange(blank.size, dtype=np.float64))
    if found is None:
        return _time_from_interval(table, dialect, notes, problems)
    series = table.columns[found.column.position]
    if found.is_clock:
        return _clock(table, columns, found, notes, problems)
    values: NDArray[np.float64] = series.cast(pl.Float64).fill_null(float("nan")).to_numpy()
    finite = np.isfinite(values)
    if not finite.all():
        values = np.where(finite, values, np.nan)
    by = found.conversion
    if by is None or by.scale == 1.0:
        return values
    # Off with the start first: a clock counting from 1970 in ms would lose digits otherwise.
    start = np.nanmin(values) if np.isfinite(values).any() else 0.0
    return (values - start) * by.scale


def _clock(
    table: Table,
    columns: Sequence[Understood],
    found: Understood,
    notes: dict[str, JsonValue],
    problems: list[Problem],
) -> NDArray[np.float64] | None:
    import numpy as np

    column = found.column
    cells = tidy_column(table.columns[column.position])
    head = cells.drop_nulls().head(200).to_list()
    form = find_clock(head, column.header)
    if form is None:
        problems.append(
            Problem("no cell reads as a clock time.", "Log seconds.", column=column.header)
        )
        return None
    seconds = clock_seconds(cells, form)
    bad = cells.is_not_null().to_numpy() & ~np.isfinite(seconds)
    for row in np.flatnonzero(bad)[:3]:
        problems.append(
            Problem(
                f"“{cells[int(row)]}” does not read as {form.label}, like the rows above.",
                "Write every time alike.",
                row=table.first_line + int(row),
                column=column.header,
            )
        )
    notes["clock"] = form.label
    dates = None if form.has_date else _dates(table, columns, column.position)
    if dates is not None:
        notes["clock"] = f"{form.label}, with the date in a column of its own"
        return seconds + dates
    return unwrap(seconds, form)


def _dates(
    table: Table, columns: Sequence[Understood], position: int
) -> NDArray[np.float64] | None:
    """A column of plain dates beside a column of times: seconds of each row's date."""
    for other in columns:
        if other.column.position == position or not other.is_text:
            continue
        cells = tidy_column(table.columns[other.column.position])
        head = cells.drop_nulls().head(200).to_list()
        form = find_clock(head)
        if form is not None and form.has_date and head and DATE.fullmatch(head[0]):
            return clock_seconds(cells, form)
    return None


def _time_from_interval(
    table: Table, dialect: Dialect, notes: dict[str, JsonValue], problems: list[Problem]
) -> NDArray[np.float64] | None:
    import numpy as np

    found = next((m for m in (_INTERVAL.search(x) for x in dialect.preamble) if m), None)
    if found is None:
        problems.append(
            Problem(
                "no column is a time.",
                "Add a column with the time of each reading, or a line like “sample interval 10 "
                "ms” above the header; or say which column is the time. Readings noted by hand "
                "need none: choose that kind of run (kind = “hand readings” in a bench file).",
            )
        )
        return None
    number = float(found["number"].replace(",", "."))
    unit = found["unit"].replace("S/s", "Hz").replace("samples/s", "Hz")
    step = (
        convert(number, unit, "time")
        if find_unit(unit, "time")
        else 1.0 / convert(number, unit, "frequency")
    )
    notes["time_from_interval"] = {"text": found.group().strip(), "step_s": step}
    return np.arange(len(table.columns[0]), dtype=np.float64) * step


def _note_dropped(table: Table, keep: NDArray[np.bool_], notes: dict[str, JsonValue]) -> None:
    """Rows that are all blank say nothing; rows with readings but no time are counted apart."""
    import numpy as np

    dropped = np.flatnonzero(~keep)
    any_reading = np.zeros(len(dropped), dtype=bool)
    for series in table.columns:
        any_reading |= series.gather(dropped).is_not_null().to_numpy()
    counts: dict[str, JsonValue] = {}
    if (n_blank := int((~any_reading).sum())) > 0:
        counts["blank"] = n_blank
    if (n_without := int(any_reading.sum())) > 0:
        counts["without_time"] = n_without
        counts["first_row_without_time"] = table.first_line + int(dropped[any_reading][0])
    notes["rows_dropped"] = counts


def _note_words(header: str, series: pl.Series, notes: dict[str, JsonValue]) -> None:
    """Words are kept where they change: (row of the readings from 0, words)."""
    import polars as pl

    cells = tidy_column(series.cast(pl.String)).fill_null("")
    changed = (cells != cells.shift(1)).fill_null(True)
    rows = changed.arg_true().head(_MAX_CHANGES).to_list()
    kept = notes.setdefault("words", {})
    if isinstance(kept, dict):
        kept[header] = [[int(r), cells[int(r)]] for r in rows]


def _note_cells(table: Table, columns: Sequence[Understood], notes: dict[str, JsonValue]) -> None:
    for key, counts in (("overload_cells", table.overloads), ("not_figures", table.not_figures)):
        if counts:
            notes[key] = {
                columns[p].column.header: n for p, n in sorted(counts.items()) if p < len(columns)
            }
