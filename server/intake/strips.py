"""The first figures of each column, for a look at what it holds."""

from __future__ import annotations

import math

from server.intake.figures import read_figures
from server.intake.plan import Plan


def head_figures(plan: Plan) -> tuple[tuple[float | None, ...], ...]:
    """The head's figures by column, as they stand in the file; a column of words has none."""
    import polars as pl

    dialect = plan.dialect
    strips: list[tuple[float | None, ...]] = []
    for position in range(len(plan.columns)):
        cells = dialect.cells[position] if position < len(dialect.cells) else ()
        column = pl.Series(list(cells), dtype=pl.String)
        read = read_figures(column, mark=dialect.marks[position], suffix=dialect.suffixes[position])
        values = [v if v is not None and math.isfinite(v) else None for v in read.values]
        is_figures = sum(v is not None for v in values) * 2 > len(values)
        strips.append(tuple(values) if is_figures else ())
    return tuple(strips)
