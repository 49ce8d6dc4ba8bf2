"""Columns as they were read to SI values, written into place some rows at a time."""

from __future__ import annotations

from typing import TYPE_CHECKING

from server.units import Conversion

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

_ROWS_AT_ONCE = 1 << 16  # so few that the processor keeps them at hand


def write_si(
    series: pl.Series,
    by: Conversion | None,
    into: NDArray[np.float32],
    *,
    keep: NDArray[np.bool_] | None,
) -> bool:
    """Write a column as SI, NaN where blank or over the range; whether there is any reading.

    `keep`: the rows that count for the answer, None for all.
    """
    import numpy as np
    import polars as pl

    has_reading = False
    plain = by is None or (by.scale == 1.0 and by.offset == 0.0)
    values = series.cast(pl.Float32).fill_null(float("nan")).to_numpy()
    for start in range(0, values.size, _ROWS_AT_ONCE):
        rows = slice(start, start + _ROWS_AT_ONCE)
        part = values[rows]
        finite = np.isfinite(part)
        if not finite.all():
            part = np.where(finite, part, np.float32("nan"))
        has_reading |= bool((finite if keep is None else finite & keep[rows]).any())
        into[rows] = part if by is None or plain else _converted(part, by)
    return has_reading


def _converted(values: NDArray[np.float32], by: Conversion) -> NDArray[np.float64]:
    import numpy as np

    wide = values.astype(np.float64)
    wide *= by.scale
    wide += by.offset
    return wide
