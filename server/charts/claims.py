"""The claim, read every way: one row for each meaning of "power", the printed figure across all."""

from collections.abc import Callable

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
from server.charts.listings import rows_axis_end
from server.model.bench import ClaimReading, Plate
from server.model.measured import MeaningReading
from server.model.words import Meaning
from server.wording.figures import (
    WATTS_PER_HP,
    claim_horsepower,
    expanded,
    meaning_label,
    meaning_sentence,
    show_claim,
    show_meaning,
    show_meaning_ratio,
    show_plain,
    unbroken,
)
from server.wording.labels import SHAFT_MEANINGS


def claim_every_way(
    reading: ClaimReading,
    *,
    plate: Plate | None = None,
    address: Callable[[Meaning], str] | None = None,
    figure_id: str = "claim-every-way",
) -> FigureSpec:
    """Dots: at the shaft; open diamonds: from the wall; the strokes across: printed, and what the
    plug's circuit carries continuously (`plate` names its current).

    `address`: where a measured row leads to.
    """
    shown = [m for m in reading.meanings if m.meaning is not Meaning.CIRCUIT_CONTINUOUS_LIMIT]
    limit = next(
        (m for m in reading.meanings if m.meaning is Meaning.CIRCUIT_CONTINUOUS_LIMIT), None
    )
    kind = claim_horsepower(reading.claim)
    rows = tuple(_row(m, address) for m in shown)
    rules = [Rule(Mark.PRINTED, reading.claim.value_si, f"printed {_typed(reading)}")]
    if limit is not None and limit.value is not None:
        has_current = plate is not None and plate.circuit_a is not None
        circuit = f"{show_plain(plate.circuit_a, 'A')} plug" if plate and has_current else "plug"
        rules.append(Rule(Mark.LIMIT, limit.value, f"{circuit}, continuously"))
    ends = [rule.value for rule in rules]
    ends += [m.high if m.high is not None else m.value for row in rows for m in row.marks]
    axis = Axis(
        "power",
        "W",
        min(0.0, *(mark.value for row in rows for mark in row.marks), 0.0),
        rows_axis_end(max(ends)),
        None if kind is None else (kind, WATTS_PER_HP[kind]),
    )
    return FigureSpec(
        id=figure_id,
        title="The claim, read every way",
        sentence=_sentence(reading, shown),
        panels=(RowsPanel(axis, rows, tuple(rules)),),
        table=_table(reading),
        key=_key(shown),
    )


def _typed(reading: ClaimReading) -> str:
    return unbroken(reading.claim.value_typed)


def _row(m: MeaningReading, address: Callable[[Meaning], str] | None) -> Row:
    marks: tuple[RowMark, ...] = ()
    if m.value is not None:
        half = expanded(m.standard_uncertainty)
        mark = Mark.SHAFT if m.meaning in SHAFT_MEANINGS else Mark.WALL
        low, high = (None, None) if half is None else (m.value - half, m.value + half)
        marks = (RowMark(mark, m.value, low, high, m.lower_bound),)
    href = None if address is None or m.value is None else address(m.meaning)
    return Row(meaning_label(m.meaning), marks, value=show_meaning(m), href=href)


def _key(shown: list[MeaningReading]) -> tuple[KeyEntry, ...]:
    has_bound = any(m.lower_bound for m in shown)
    bound = (KeyEntry(Mark.AT_LEAST, "at least", "wall"),) if has_bound else ()
    return (
        KeyEntry(Mark.SHAFT, "at the shaft"),
        KeyEntry(Mark.WALL, "drawn from the wall", "wall"),
        KeyEntry(Mark.INTERVAL, "95 %", "wall"),
        *bound,
    )


def _table(reading: ClaimReading) -> FigureTable:
    return FigureTable(
        caption=f"What “{reading.claim.wording}” could stand for, and what was measured",
        headers=("Meaning", "Measured", "÷ printed", "What it is"),
        rows=tuple(
            (
                meaning_label(m.meaning),
                show_meaning(m),
                show_meaning_ratio(m),
                meaning_sentence(m.meaning),
            )
            for m in reading.meanings
        ),
        numeric=frozenset({1, 2}),
    )


def _sentence(reading: ClaimReading, shown: list[MeaningReading]) -> str:
    had = [m for m in shown if m.value is not None]
    words = f"Printed {show_claim(reading.claim)}."
    if not had:
        return f"{words} None of its meanings was measured."
    listed = "; ".join(f"{meaning_label(m.meaning)}: {show_meaning(m)}" for m in had)
    return f"{words} {listed}."
