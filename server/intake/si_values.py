"""A column as it was read to SI values."""

from __future__ import annotations

from typing import TYPE_CHECKING

from server.units import Conversion

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

_ROWS_AT_ONCE = 1 << 16  # so few that the processor keeps them at hand


def si_values(
    series: pl.Series, by: Conversion | None, *, keep: NDArray[np.bool_] | None
) -> tuple[NDArray[np.float32], bool]:
    """A column as SI, NaN where blank or over the range; and whether there is any reading.

    `keep`: the rows wanted, None for all.
    """
    import numpy as np
    import polars as pl

    read: NDArray[np.float32] = series.cast(pl.Float32).fill_null(float("nan")).to_numpy()
    read = read if keep is None else read[keep]
    finite = np.isfinite(read)
    if not finite.all():
        read = np.where(finite, read, np.float32("nan"))
    if by is not None and (by.scale != 1.0 or by.offset != 0.0):
        read = _converted(read, by)
    return read, bool(finite.any())


def _converted(values: NDArray[np.float32], by: Conversion) -> NDArray[np.float32]:
    """Worked out as float64, some rows at a time."""
    import numpy as np

    converted = np.empty_like(values)
    with np.errstate(over="ignore"):
        for start in range(0, values.size, _ROWS_AT_ONCE):
            rows = slice(start, start + _ROWS_AT_ONCE)
            wide = values[rows].astype(np.float64)
            wide *= by.scale
            wide += by.offset
            converted[rows] = wide
    return converted
