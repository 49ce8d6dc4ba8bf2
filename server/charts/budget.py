"""Where the uncertainty of one figure comes from: a bar for each component, the largest first."""

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
from server.charts.listings import rows_axis_end
from server.model.budget import BudgetLine
from server.model.measured import Metric
from server.wording.budget import (
    component_size,
    improve_sentence,
    show_contribution,
    show_part,
    show_sensitivity,
)
from server.wording.figures import metric_label, shown_scale
from server.wording.numbers import significant, with_unit

TOGETHER = "All together"
MOST_BARS = 12  # what lies behind them shows no bar anyway


def uncertainty_budget(metric: Metric, *, figure_id: str = "budget") -> FigureSpec:
    """Bars: what each component adds to the standard uncertainty, in the figure's unit.

    The components are independent: they add up by squares, so the bar of all together is shorter
    than the others set end to end.
    """
    lines = sorted(metric.budget, key=lambda line: -line.share)
    unit, scale = shown_scale(metric.unit, metric.name)
    rows = [_row(line, scale) for line in lines[:MOST_BARS]]
    u = metric.standard_uncertainty
    if rows and u is not None:
        words = with_unit(significant(u / scale), unit)
        rows.append(Row(TOGETHER, (_bar(u / scale),), value=words))
    longest = max((row.marks[0].high or 0.0 for row in rows), default=0.0)
    axis = Axis("standard uncertainty", unit, 0.0, rows_axis_end(longest))
    return FigureSpec(
        id=figure_id,
        title="Where the uncertainty comes from",
        sentence=_sentence(metric, lines),
        panels=(RowsPanel(axis, tuple(rows), heading="share of the variance"),) if rows else (),
        table=_table(metric, lines),
        key=(KeyEntry(Mark.RANGE, "adds to the standard uncertainty"),) if rows else (),
        notes=_notes(lines),
        empty=None if rows else "No uncertainty budget was kept for this figure.",
    )


def _bar(length: float) -> RowMark:
    return RowMark(Mark.RANGE, 0.0, high=length)


def _row(line: BudgetLine, scale: float) -> Row:
    return Row(line.component, (_bar(line.contribution / scale),), value=show_part(line.share))


def _notes(lines: list[BudgetLine]) -> tuple[str, ...]:
    if len(lines) <= MOST_BARS:
        return ()
    return (f"The {MOST_BARS} largest are drawn; the table has all {len(lines)}.",)


def _sentence(metric: Metric, lines: list[BudgetLine]) -> str:
    if not lines:
        return "No uncertainty budget was kept for this figure."
    listed = "; ".join(f"{line.component}: {show_part(line.share)}" for line in lines[:MOST_BARS])
    words = f"Shares of the variance of {metric_label(metric.name)}: {listed}."
    first = improve_sentence(metric)
    return f"{words} {first}" if first else words


def _table(metric: Metric, lines: list[BudgetLine]) -> FigureTable:
    return FigureTable(
        caption="Uncertainty budget, sensitivities in SI",
        headers=(
            "Component",
            "Standard uncertainty",
            "Distribution",
            "Sensitivity",
            "Adds",
            "Share",
        ),
        rows=tuple(
            (
                line.component,
                component_size(line, metric),
                line.distribution,
                show_sensitivity(line),
                show_contribution(line, metric),
                show_part(line.share),
            )
            for line in lines
        ),
        numeric=frozenset({1, 3, 4, 5}),
    )
