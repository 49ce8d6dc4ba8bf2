"""The recording over time with its stretches, and how far the fits miss the points."""

from collections.abc import Sequence
from itertools import pairwise

from server.charts.figure import (
    Axis,
    CurvesPanel,
    FigureSpec,
    FigureTable,
    KeyEntry,
    Line,
    Mark,
    Points,
    Span,
)
from server.charts.load import QUANTITIES, LoadQuantity
from server.charts.scale import nice_bounds
from server.model.results import Curve, LoadPoint, Reduction, Segment, Trace
from server.model.words import CHANNEL_UNITS, Channel, SegmentKind
from server.wording.counts import count_of
from server.wording.figures import ZERO_CELSIUS_K, expanded, show_quantity, shown_scale
from server.wording.labels import channel_word, segment_word

_FIRST = ("speed", "torque", "force", "current", "power", "voltage")
_STEADY = frozenset({SegmentKind.STEADY_DWELL, SegmentKind.FREE_RUNNING})


def run_trace(
    trace: Trace, segments: Sequence[Segment] = (), *, figure_id: str = "run-trace"
) -> FigureSpec:
    """One panel per channel over time; steady stretches are shaded."""
    names = [n for n in _FIRST if n in trace.value]
    names += [n for n in trace.value if n not in _FIRST and n != Channel.TIME.value]
    names = [n for n in names if any(v is not None for v in trace.value[n])]
    spans = tuple(
        Span(s.start_s, s.end_s, segment_word(s.kind), s.kind in _STEADY) for s in segments
    )
    ends = [trace.time_s[n][-1] for n in names] + [s.end_s for s in segments]
    starts = [trace.time_s[n][0] for n in names] + [s.start_s for s in segments]
    x = Axis("time", "s", min(starts, default=0.0), max(ends, default=1.0))
    bare = tuple(Span(s.low, s.high, "", s.is_steady) for s in spans)  # named once, at the top
    panels = tuple(
        _trace_panel(trace, name, x, bare if i else spans) for i, name in enumerate(names)
    )
    return FigureSpec(
        id=figure_id,
        title="The recording",
        sentence=_trace_sentence(names, segments),
        panels=panels,
        table=_segment_table(segments),
        notes=(
            "Shaded: free running and steady loads. Thinned for the screen; the file has every "
            "reading.",
        )
        if panels
        else (),
        empty=None if panels else "No channel of this file can be drawn over time.",
    )


def _shown_channel(name: str) -> tuple[str, str, float, float]:
    """Label, unit shown, SI per shown unit, and what is taken off first (kelvin to °C)."""
    if name not in {c.value for c in Channel}:
        return name.replace("_", " "), "", 1.0, 0.0
    channel = Channel(name)
    si_unit = CHANNEL_UNITS[channel]
    if si_unit == "K":
        return channel_word(channel), "°C", 1.0, ZERO_CELSIUS_K
    if si_unit == "":
        return channel_word(channel), "", 1.0, 0.0
    unit, scale = shown_scale(si_unit)
    return channel_word(channel), unit, scale, 0.0


def _trace_panel(trace: Trace, name: str, x: Axis, spans: tuple[Span, ...]) -> CurvesPanel:
    label, unit, scale, offset = _shown_channel(name)
    y = tuple(None if v is None else (v - offset) / scale for v in trace.value[name])
    present = [v for v in y if v is not None]
    low, high = min(present), max(present)
    if unit == "°C":  # its zero says nothing
        bounds = nice_bounds(low - 1.0, high + 1.0, 6, with_zero=False)
    else:
        margin = 0.04 * ((high - min(low, 0.0)) or 1.0)
        bounds = nice_bounds(low if low < -margin else 0.0, high + margin, 10)
    return CurvesPanel(
        x=x,
        y=Axis(label, unit, *bounds),
        lines=(Line(label, "measured", trace.time_s[name], y),),
        spans=spans,
    )


def _trace_sentence(names: Sequence[str], segments: Sequence[Segment]) -> str:
    if not names:
        return "No channel of this file can be drawn over time."
    labels = [_shown_channel(name)[0] for name in names]
    n_steady = sum(1 for s in segments if s.kind is SegmentKind.STEADY_DWELL)
    kinds = list(dict.fromkeys(segment_word(s.kind) for s in segments))
    words = f"{', '.join(labels).capitalize()} over time"
    if kinds:
        words += f", with the stretches found: {', '.join(kinds)}"
    if n_steady:
        words += f" ({count_of(n_steady, 'steady load')})"
    return words + "."


def _segment_table(segments: Sequence[Segment]) -> FigureTable:
    return FigureTable(
        caption="The stretches of the run",
        headers=("Stretch", "From", "To", "Lasts"),
        rows=tuple(
            (
                segment_word(s.kind),
                _seconds(s.start_s),
                _seconds(s.end_s),
                _seconds(s.end_s - s.start_s),
            )
            for s in segments
        ),
        numeric=frozenset({1, 2, 3}),
    )


def _seconds(value: float) -> str:
    return f"{value:.2f}\u00a0s".replace("-", "\u2212")


def fit_residuals(reduction: Reduction, *, figure_id: str = "fit-residuals") -> FigureSpec:
    """Measured minus fitted at every load point, with the points' 95 % scatter."""
    shown = [(q, rows) for q in QUANTITIES if (rows := _residuals(reduction, q))]
    return FigureSpec(
        id=figure_id,
        title="Measured minus fitted",
        sentence=(
            "How far each measured load lies from the fitted curves."
            if shown
            else "No curve was fitted."
        ),
        panels=tuple(_residual_panel(q, rows) for q, rows in shown),
        table=_residual_table(shown),
        key=(
            KeyEntry(Mark.POINT, "measured minus fitted"),
            KeyEntry(Mark.INTERVAL, "95 % scatter of the reading"),
        )
        if shown
        else (),
        empty=None if shown else "No curve was fitted, so nothing can be compared with one.",
    )


def _residuals(reduction: Reduction, q: LoadQuantity) -> list[tuple[LoadPoint, float]]:
    curve = _curve(reduction, q.quantity)
    if curve is None:
        return []
    speed = _curve(reduction, "speed")
    found: list[tuple[LoadPoint, float]] = []
    for point in reduction.points:
        measured = getattr(point, q.field)
        fitted = None if measured is None else _fitted(curve, speed, point)
        if fitted is not None:
            found.append((point, measured - fitted))
    return found


def _curve(reduction: Reduction, quantity: str) -> Curve | None:
    return next(
        (c for c in reduction.curves if c.quantity == quantity and len(c.torque_nm) > 1), None
    )


def _fitted(curve: Curve, speed: Curve | None, point: LoadPoint) -> float | None:
    """The curve at a point's torque, straight between its own points; None outside them.

    Past an induction motor's breakdown a torque is met twice; then the place whose speed is the
    nearer one counts.
    """
    places = _places(curve.torque_nm, point.torque_nm)
    if not places:
        return None
    if len(places) > 1 and speed is not None and len(speed.value) == len(curve.value):
        places.sort(key=lambda place: abs(_between(speed.value, *place) - point.speed_rad_s))
    return _between(curve.value, *places[0])


def _places(torques: Sequence[float], torque_nm: float) -> list[tuple[int, float]]:
    """Where along the curve a torque is met: index of the stretch and the share of it."""
    found: list[tuple[int, float]] = []
    for i, (a, b) in enumerate(pairwise(torques)):
        if min(a, b) <= torque_nm <= max(a, b):
            found.append((i, (torque_nm - a) / (b - a) if b != a else 0.0))
    return found


def _between(values: Sequence[float], i: int, share: float) -> float:
    return values[i] + share * (values[i + 1] - values[i])


def _residual_panel(q: LoadQuantity, rows: list[tuple[LoadPoint, float]]) -> CurvesPanel:
    unit, scale = shown_scale(q.si_unit)
    y = tuple(r / scale for _, r in rows)
    halves = tuple(
        None if (u := expanded(getattr(p, q.u_field))) is None else u / scale for p, _ in rows
    )
    reach = max(abs(v) + (h or 0.0) for v, h in zip(y, halves, strict=True)) or 1.0
    bounds = nice_bounds(-1.1 * reach, 1.1 * reach, 8)
    x = tuple(p.torque_nm for p, _ in rows)
    return CurvesPanel(
        x=Axis("torque", "N·m", *nice_bounds(0.0, 1.03 * max(x), 12)),
        y=Axis(f"{q.label}, off the fit by", unit, *bounds),
        points=(Points(q.label, "measured", "cross", x, y, halves),),
    )


def _residual_table(
    shown: Sequence[tuple[LoadQuantity, list[tuple[LoadPoint, float]]]],
) -> FigureTable:
    """One row a load: what was measured there stands in the table of loads."""
    points = list({id(p): p for _, rows in shown for p, _ in rows}.values())
    residuals = [(q, {id(p): residual for p, residual in rows}) for q, rows in shown]

    def words(q: LoadQuantity, point: LoadPoint, residual: float | None) -> str:
        if residual is None:
            return "no fit"
        return show_quantity(residual, getattr(point, q.u_field), q.si_unit)

    return FigureTable(
        caption="Measured minus fitted, with the reading's 95 % scatter",
        headers=("Torque", *(q.label.capitalize() for q, _ in shown)),
        rows=tuple(
            (
                show_quantity(p.torque_nm, p.u_torque_nm, "N m"),
                *(words(q, p, found.get(id(p))) for q, found in residuals),
            )
            for p in points
        ),
        numeric=frozenset(range(len(shown) + 1)),
    )
