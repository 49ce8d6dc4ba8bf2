"""A test while it goes on: power, torque and speed over time, drawn small."""

from server.charts.figure import Axis, CurvesPanel, FigureSpec, FigureTable, Line
from server.charts.scale import nice_bounds
from server.model.live import DRAWN, LIVE_UNITS, LiveQuantity, LiveReadings
from server.wording.figures import shown_scale
from server.wording.live import live_label, show_live, show_seconds

_IN_TABLE = 12


def live_trace(readings: LiveReadings, *, figure_id: str = "live-trace") -> FigureSpec:
    """One panel for each of power, torque and speed, from the thinned trace."""
    drawn = [q for q in DRAWN if any(v is not None for v in readings.trace.get(q, ()))]
    if not readings.trace_s or not drawn:
        words = "Nothing is measured yet."
        return FigureSpec(figure_id, "So far", words, (), _table(readings, drawn), empty=words)
    x = Axis("time", "s", readings.trace_s[0], max(readings.trace_s[-1], readings.trace_s[0] + 1))
    labels = ", ".join(live_label(q).lower() for q in drawn)
    return FigureSpec(
        id=figure_id,
        title="So far",
        sentence=f"{labels.capitalize()} over the time of the test so far.",
        panels=tuple(_panel(readings, q, x) for q in drawn),
        table=_table(readings, drawn),
    )


def _panel(readings: LiveReadings, quantity: LiveQuantity, x: Axis) -> CurvesPanel:
    unit, scale = shown_scale(LIVE_UNITS[quantity])
    y = tuple(None if v is None else v / scale for v in readings.trace[quantity])
    highest = max(v for v in y if v is not None)
    label = live_label(quantity)
    return CurvesPanel(
        x=x,
        y=Axis(label, unit, *nice_bounds(0.0, 1.05 * highest or 1.0, 6)),
        lines=(Line(label, "measured", readings.trace_s, y),),
    )


def _table(readings: LiveReadings, drawn: list[LiveQuantity]) -> FigureTable:
    """A dozen of the trace's points, the newest among them."""
    n = len(readings.trace_s)
    step = max(1, n // _IN_TABLE)
    rows = range((n - 1) % step, n, step)
    return FigureTable(
        caption="Points of the test so far",
        headers=("Time", *(live_label(q) for q in drawn)),
        rows=tuple(
            (
                show_seconds(readings.trace_s[i]),
                *(show_live(readings.trace[q][i], q) for q in drawn),
            )
            for i in rows
        ),
        numeric=frozenset(range(1, 1 + len(drawn))),
    )
