"""Printed and measured: one row per appliance on a common power axis."""

from collections.abc import Callable, Sequence

from server.charts.figure import (
    Axis,
    FigureSpec,
    FigureTable,
    KeyEntry,
    Mark,
    Row,
    RowMark,
    RowsPanel,
)
from server.charts.scale import nice_step
from server.model.measured import Metric
from server.model.views import ListingRow
from server.model.words import MetricName
from server.wording.figures import (
    NOTHING_PRINTED,
    WATTS_PER_HP,
    expanded,
    horsepower_kind,
    show_metric,
    show_power,
    show_ratio,
    unbroken,
)

_RATED = MetricName.SHAFT_POWER_AT_RATED_CURRENT
_HIGHEST = MetricName.SHAFT_POWER_MAX_STEADY


def printed_and_measured(
    rows: Sequence[ListingRow],
    *,
    address: Callable[[ListingRow], str] | None = None,
    how_chosen: str = "",
    figure_id: str = "printed-and-measured",
) -> FigureSpec:
    """Dot: shaft at rated current; pale bar: up to the highest steady; stroke: printed.

    `address` makes the link of a row. `how_chosen` says how the rows were chosen and sorted.
    """
    drawn = tuple(_row(row, address) for row in rows)
    ends = [m.high if m.high is not None else m.value for row in drawn for m in row.marks]
    highest = max(ends, default=0.0)
    second = _second_unit(rows)
    panel = RowsPanel(
        Axis("power", "W", 0.0, rows_axis_end(highest), second),
        drawn,
        (),
        "highest steady ÷ printed",
    )
    return FigureSpec(
        id=figure_id,
        title="Printed and measured",
        sentence=_sentence(rows),
        panels=(panel,) if rows else (),
        table=_table(rows),
        key=(
            KeyEntry(Mark.PRINTED, "printed", "printed"),
            KeyEntry(Mark.SHAFT, "shaft, at rated current"),
            KeyEntry(Mark.RANGE, "up to the highest steady"),
        )
        if rows
        else (),
        notes=(how_chosen,) if how_chosen else (),
        empty=None if rows else "No bench runs yet. The first published run fills this picture.",
    )


def rows_axis_end(highest: float) -> float:
    """Room to the right of the last mark, without rounding up a whole step."""
    if highest <= 0:
        return 1000.0
    step = nice_step(highest, 12)
    return step * (int(highest * 1.02 / step) + 1)


def _second_unit(rows: Sequence[ListingRow]) -> tuple[str, float] | None:
    kinds = [kind for row in rows if (kind := horsepower_kind(row.printed_power_typed))]
    return (kinds[0], WATTS_PER_HP[kinds[0]]) if kinds else None


def _row(row: ListingRow, address: Callable[[ListingRow], str] | None) -> Row:
    rated, highest = row.metrics.get(_RATED), row.metrics.get(_HIGHEST)
    marks: list[RowMark] = []
    if highest is not None and highest.value is not None:
        start = rated.value if rated is not None and rated.value is not None else 0.0
        marks.append(
            RowMark(Mark.RANGE, start, high=highest.value, is_lower_bound=highest.lower_bound)
        )
    if row.printed_power_w is not None:
        marks.append(RowMark(Mark.PRINTED, row.printed_power_w))
    if rated is not None and rated.value is not None:
        marks.append(_with_interval(Mark.SHAFT, rated))
    return Row(
        label=f"{row.maker} {row.model}",
        note=row.category,
        marks=tuple(marks),
        value=_ratio_words(row),
        href=address(row) if address is not None else None,
    )


def _with_interval(mark: Mark, metric: Metric) -> RowMark:
    value = metric.value or 0.0
    half = expanded(metric.standard_uncertainty)
    low, high = (None, None) if half is None else (value - half, value + half)
    return RowMark(mark, value, low, high, metric.lower_bound)


def _ratio_words(row: ListingRow) -> str:
    if row.printed_power_w is None:
        return NOTHING_PRINTED
    highest = row.metrics.get(_HIGHEST)
    words = show_ratio(row.ratio, row.ratio_standard_uncertainty)
    if row.ratio is not None and highest is not None and highest.lower_bound:
        return f"at least {show_ratio(row.ratio, None)}"
    return words


def printed_words(row: ListingRow) -> str:
    """The printed power as printed, SI in brackets."""
    if row.printed_power_w is None:
        return NOTHING_PRINTED
    watts = show_power(row.printed_power_w)
    if row.printed_power_typed is None or horsepower_kind(row.printed_power_typed) is None:
        return watts
    return f"{unbroken(row.printed_power_typed)} ({watts})"


def _table(rows: Sequence[ListingRow]) -> FigureTable:
    return FigureTable(
        caption="Printed and measured power, one run each",
        headers=(
            "Appliance",
            "Category",
            "Printed",
            "Shaft, at rated current",
            "Shaft, highest steady",
            "Highest steady ÷ printed",
        ),
        rows=tuple(
            (
                f"{row.maker} {row.model}",
                row.category,
                printed_words(row),
                show_metric(row.metrics.get(_RATED)).text,
                show_metric(row.metrics.get(_HIGHEST)).text,
                _ratio_words(row),
            )
            for row in rows
        ),
        numeric=frozenset({2, 3, 4, 5}),
    )


def _sentence(rows: Sequence[ListingRow]) -> str:
    if not rows:
        return "No appliance to show yet."
    compared = [row for row in rows if row.ratio is not None]
    words = f"Printed power and measured shaft power of {len(rows)} appliances, on one axis."
    if len(rows) == 1:
        words = f"Printed power and measured shaft power of {rows[0].maker} {rows[0].model}."
    if len(compared) > 1:
        low = min(compared, key=lambda row: row.ratio or 0.0)
        high = max(compared, key=lambda row: row.ratio or 0.0)
        words += (
            f" The highest steady shaft power is between {_ratio_words(low)} ({low.maker} "
            f"{low.model}) and {_ratio_words(high)} ({high.maker} {high.model}) of the printed "
            "figure."
        )
    return words
