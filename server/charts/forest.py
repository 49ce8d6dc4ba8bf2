"""Testers side by side: a row for each run or tester with its interval, the pooled figure below."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from server.charts.figure import (
    Axis,
    FigureSpec,
    FigureTable,
    KeyEntry,
    Mark,
    Row,
    RowMark,
    RowsPanel,
    Rule,
)
from server.charts.scale import nice_bounds
from server.model.pooled import PerTester, Pooling
from server.model.words import MetricName
from server.wording.figures import expanded, metric_label, shown_scale, value_with_uncertainty
from server.wording.numbers import fixed
from server.wording.pooled import agreement_sentence, flag_sentences, flag_words, show_pooled

NOT_TOLD = "–"


@dataclass(frozen=True, slots=True)
class ForestRow:
    """One run or one tester, in SI. `note`: what stands behind the label, smaller."""

    label: str
    value: float
    standard_uncertainty: float | None = None
    note: str = ""
    href: str | None = None


@dataclass(frozen=True, slots=True)
class _Shown:
    """How SI is shown: the unit and its size, the mark of where the quantity is measured."""

    unit: str
    scale: float
    mark: Mark


def forest_of_testers(
    pooling: Pooling,
    *,
    metric: MetricName,
    si_unit: str,
    rows: Sequence[ForestRow] | None = None,
    printed_si: float | None = None,
    address: Callable[[PerTester], str] | None = None,
    figure_id: str = "testers-side-by-side",
) -> FigureSpec:
    """Dot: one row's figure; capped thin line: its 95 % interval; last row: all testers pooled.

    `rows`: runs to draw, where they are not the testers themselves. `printed_si`: drawn across all
    rows. What is drawn from the wall has the open diamond. One tester has no pooled row.
    """
    unit, scale = shown_scale(si_unit, metric)
    shown = _Shown(unit, scale, Mark.WALL if metric.value.startswith("input") else Mark.SHAFT)
    drawn = [_row(r, shown) for r in (rows if rows is not None else _tester_rows(pooling, address))]
    if pooling.n_testers > 1:
        drawn.append(_pooled_row(pooling, shown))
    rules: tuple[Rule, ...] = ()
    if printed_si is not None:
        words = value_with_uncertainty(printed_si / scale, None, unit)
        rules = (Rule(Mark.PRINTED, printed_si / scale, f"printed {words}"),)
    axis = _axis(drawn, rules, metric_label(metric), unit)
    return FigureSpec(
        id=figure_id,
        title="Testers side by side",
        sentence=_sentence(pooling, metric, shown),
        panels=(RowsPanel(axis, tuple(drawn), rules, "value and 95 %"),),
        table=_table(pooling, metric, shown),
        key=(
            KeyEntry(shown.mark, "measured", "wall" if shown.mark is Mark.WALL else "measured"),
            KeyEntry(Mark.INTERVAL, "95 %", "wall" if shown.mark is Mark.WALL else "measured"),
        ),
        notes=flag_sentences(pooling),
    )


def _tester_rows(pooling: Pooling, address: Callable[[PerTester], str] | None) -> list[ForestRow]:
    return [
        ForestRow(
            t.tester,
            t.value,
            t.standard_uncertainty,
            ", ".join(w for w in (_runs(t.n), flag_words(t)) if w),
            None if address is None else address(t),
        )
        for t in pooling.testers
    ]


def _runs(n: int) -> str:
    return "1 run" if n == 1 else f"{n} runs"


def _row(row: ForestRow, shown: _Shown) -> Row:
    value = row.value / shown.scale
    u = None if row.standard_uncertainty is None else row.standard_uncertainty / shown.scale
    half = expanded(u)
    low, high = (None, None) if half is None else (value - half, value + half)
    return Row(
        label=row.label,
        note=row.note,
        marks=(RowMark(shown.mark, value, low, high),),
        value=value_with_uncertainty(value, u, shown.unit),
        href=row.href,
    )


def _pooled_row(pooling: Pooling, shown: _Shown) -> Row:
    figure = pooling.pooled
    low = None if figure.low is None else figure.low / shown.scale
    high = None if figure.high is None else figure.high / shown.scale
    return Row(
        label="Pooled",
        note=f"{pooling.n_testers} testers",
        marks=(RowMark(shown.mark, figure.value / shown.scale, low, high),),
        value=show_pooled(figure, shown.unit, shown.scale),
    )


def _axis(rows: Sequence[Row], rules: Sequence[Rule], label: str, unit: str) -> Axis:
    ends = [
        end
        for row in rows
        for m in row.marks
        for end in (m.value, m.low, m.high)
        if end is not None
    ]
    ends += [rule.value for rule in rules]
    # Dots need no zero; what matters is how far they lie apart.
    low, high = nice_bounds(min(ends), max(ends), 6, with_zero=False)
    return Axis(label, unit, low, high)


def _sentence(pooling: Pooling, metric: MetricName, shown: _Shown) -> str:
    figure = show_pooled(pooling.pooled, shown.unit, shown.scale)
    what = "measured" if pooling.n_testers == 1 else "pooled"
    return f"{metric_label(metric)}, {what}: {figure}. {agreement_sentence(pooling)}"


def _table(pooling: Pooling, metric: MetricName, shown: _Shown) -> FigureTable:
    rows = [
        (
            t.tester,
            str(t.n),
            _row(ForestRow("", t.value, t.standard_uncertainty), shown).value,
            _two(t.h),
            _two(t.k),
            flag_words(t),
        )
        for t in pooling.testers
    ]
    if pooling.n_testers > 1:
        n_runs = sum(t.n for t in pooling.testers)
        figure = show_pooled(pooling.pooled, shown.unit, shown.scale)
        rows.append(("Pooled", str(n_runs), figure, "", "", ""))
    return FigureTable(
        caption=f"{metric_label(metric)}, tester by tester",
        headers=("Tester", "Runs", "Figure", "h", "k", "Stands out"),
        rows=tuple(rows),
        numeric=frozenset({1, 2, 3, 4}),
    )


def _two(value: float | None) -> str:
    return NOT_TOLD if value is None else fixed(value, 2)
