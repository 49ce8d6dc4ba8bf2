"""Clock readings to seconds: mm:ss, hh:mm:ss with fractions, dates with times, ISO 8601."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from server.intake.cells import DATE, DATE_TIME, TIME

if TYPE_CHECKING:
    import numpy as np
    import polars as pl
    from numpy.typing import NDArray

_DAY_S = 86400
_MONTHS = {
    "jan": 1, "ene": 1, "feb": 2, "fév": 2, "fev": 2, "mar": 3, "mär": 3, "mae": 3, "mrz": 3,
    "apr": 4, "avr": 4, "abr": 4, "may": 5, "mai": 5, "jun": 6, "jui": 6, "jul": 7, "aug": 8,
    "aoû": 8, "aou": 8, "ago": 8, "sep": 9, "oct": 10, "okt": 10, "nov": 11, "dec": 12, "dez": 12,
    "déc": 12, "dic": 12,
}  # fmt: skip
_T = (
    r"(?P<a>\d{1,3}):(?P<b>\d{2})(?::(?P<c>\d{2}))?(?:[.,:](?P<fraction>\d+))?"
    r"\s*(?P<half>[AaPp])?\.?[Mm]?\.?"
)
_ZONE = r"\s*(?P<zone>Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})?"
_GAP = r"(?:T|\s+|[-_,]\s*)"


@dataclass(frozen=True, slots=True)
class ClockFormat:
    """`pattern` has named groups; `order` says which of year, month, day stands first."""

    label: str
    pattern: str
    order: str | None
    is_minutes: bool

    @property
    def has_date(self) -> bool:
        return self.order is not None


def find_clock(cells: Sequence[str], header: str = "") -> ClockFormat | None:
    """The one format that all clock cells of a column's head share."""
    seen = [c for c in cells if TIME.fullmatch(c) or DATE_TIME.fullmatch(c) or DATE.fullmatch(c)]
    if not seen:
        return None
    first = seen[0]
    if TIME.fullmatch(first):
        long = first.count(":") >= 2
        hours = re.search(r"(?i)h+:m+", header) is not None and not long
        return ClockFormat(
            "hh:mm:ss" if long else "hh:mm" if hours else "mm:ss",
            f"^{_T}$", None, not long and not hours,
        )  # fmt: skip
    tail = "" if DATE.fullmatch(first) else _GAP + _T + _ZONE
    if re.match(r"\d{8}T\d{6}", first):
        pattern = (
            r"^(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})T(?P<a>\d{2})(?P<b>\d{2})(?P<c>\d{2})"
            rf"(?:[.,](?P<fraction>\d+))?{_ZONE}$"
        )
        return ClockFormat("ISO 8601", pattern, "ymd", False)
    if re.match(r"\d{4}[-/.]", first):
        date = r"(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})"
        return ClockFormat("ISO 8601", f"^{date}{tail}$", "ymd", False)
    if re.match(r"\d{8}", first):
        date = r"(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})"
        return ClockFormat("yyyymmdd", f"^{date}{tail}$", "ymd", False)
    if re.match(r"\d{1,2}[- ][^\d]", first):
        date = r"(?P<d>\d{1,2})[- ](?P<m>[A-Za-zéûä]{3,4})\.?[- ](?P<y>\d{4})"
        return ClockFormat("dd-mon-yyyy", f"^{date}{tail}$", "named", False)
    date = r"(?P<x>\d{1,2})[-/.](?P<z>\d{1,2})[-/.](?P<y>\d{4})"
    pairs = [re.match(r"(\d{1,2})[-/.](\d{1,2})", c) for c in seen]
    second_over_12 = any(p is not None and int(p[2]) > 12 for p in pairs)
    month_first = second_over_12 or (bool(re.search(r"(?i)[ap]\.?m", first)) and "/" in first)
    label = "mm/dd/yyyy" if month_first else "dd.mm.yyyy"
    return ClockFormat(label, f"^{date}{tail}$", "mdy" if month_first else "dmy", False)


def clock_seconds(series: pl.Series, form: ClockFormat) -> NDArray[np.float64]:
    """Seconds of a text column, NaN where a cell does not read as the format.

    With a date they count from 1970 in UTC (a missing zone is taken as UTC), else from midnight.
    """
    import numpy as np
    import polars as pl

    parts = _fields(series, form)
    names = set(parts.columns)

    def number(name: str) -> Any:
        if name not in names:
            return np.zeros(len(series))
        values = parts.get_column(name).cast(pl.Float64, strict=False)
        return values.fill_null(0.0).to_numpy()

    found = parts.get_column("y" if form.has_date else "a").is_not_null().to_numpy()
    seconds = np.zeros(len(series))
    if "a" in names:
        a, b, c = number("a"), number("b"), number("c")
        if "half" in names:
            half = parts.get_column("half").str.to_lowercase().fill_null("").to_numpy()
            a = np.where(half == "p", a % 12 + 12, np.where(half == "a", a % 12, a))
        seconds = a * 60 + b if form.is_minutes else a * 3600 + b * 60 + c
    whole = seconds + (_days(parts, form) * _DAY_S if form.has_date else 0.0)
    if "zone" in names:
        whole = whole - _zone_seconds(parts.get_column("zone"))
    if "fraction" in names:
        fraction = parts.get_column("fraction")
        if fraction.null_count() < len(fraction):
            as_decimal = pl.select(pl.lit("0.") + pl.lit(fraction)).to_series()
            whole = whole + as_decimal.cast(pl.Float64).fill_null(0.0).to_numpy()
    result: NDArray[np.float64] = np.where(found, whole, np.nan)
    return result


def _fields(series: pl.Series, form: ClockFormat) -> pl.DataFrame:
    """The named groups of every cell. Where all cells are written to one width they are cut out
    by place, which is many times faster than matching each."""
    import polars as pl

    first = series.drop_nulls().head(1)
    match = re.match(form.pattern, str(first[0])) if len(first) else None
    if match is not None:
        same = "".join(r"[0-9]" if c.isdigit() else re.escape(c) for c in match.group())
        if series.str.contains(f"^{same}$").all(ignore_nulls=False):
            cut = {
                group: series.str.slice(start, stop - start)
                for group in match.groupdict()
                for start, stop in [match.span(group)]
                if start >= 0
            }
            return pl.DataFrame(cut)
    return series.str.extract_groups(form.pattern).struct.unnest()


def _days(parts: pl.DataFrame, form: ClockFormat) -> NDArray[np.float64]:
    """Days since 1970. Few dates differ in one log, so each is worked out once."""
    import numpy as np
    import polars as pl

    first, second = {"ymd": ("m", "d"), "named": ("m", "d")}.get(form.order or "", ("x", "z"))
    keys = parts.select(
        (pl.col("y") + "-" + pl.col(first) + "-" + pl.col(second)).fill_null("").alias("key")
    ).to_series()
    unique = keys.unique(maintain_order=True)
    by_key = {key: _day_number(key, form.order or "") for key in unique.to_list()}
    days = keys.replace_strict(by_key, return_dtype=pl.Float64).to_numpy()
    return np.asarray(days, dtype=np.float64)


def _day_number(key: str, order: str) -> float:
    from datetime import date

    if not key:
        return 0.0
    y, one, two = key.split("-")
    if order == "named":
        month, day = _MONTHS.get(one[:3].casefold(), 0), int(two)
    elif order == "dmy":
        month, day = int(two), int(one)
    else:
        month, day = int(one), int(two)
    try:
        return float(date(int(y), month, day).toordinal() - date(1970, 1, 1).toordinal())
    except ValueError:
        return float("nan")


def _zone_seconds(zones: pl.Series) -> NDArray[np.float64]:
    import numpy as np
    import polars as pl

    def offset(zone: str) -> float:
        digits = re.sub(r"\D", "", zone)
        if not digits:
            return 0.0
        sign = -1.0 if zone.startswith("-") else 1.0
        return sign * (int(digits[:2]) * 3600 + int(digits[2:4] or 0) * 60)

    known = {zone: offset(zone or "") for zone in zones.unique().to_list()}
    seconds = zones.replace_strict(known, return_dtype=pl.Float64).to_numpy()
    return np.asarray(seconds, dtype=np.float64)


def unwrap(seconds: NDArray[np.float64], form: ClockFormat) -> NDArray[np.float64]:
    """A clock that passes midnight (or the full hour, as mm:ss) goes on counting."""
    import numpy as np

    if form.has_date:
        return seconds
    period = 3600.0 if form.is_minutes else float(_DAY_S)
    good = np.isfinite(seconds)
    steps = np.diff(seconds[good], prepend=seconds[good][:1])
    turns: NDArray[np.int64] = np.cumsum(steps < -period / 2) - np.cumsum(steps > period / 2)
    result = seconds.copy()
    result[good] += period * turns
    return result
