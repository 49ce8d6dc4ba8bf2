"""Along the load: power, speed, efficiency and current over torque, for one run or up to six."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.charts.figure import (
    MARKERS,
    Axis,
    CurvesPanel,
    FigureSpec,
    FigureTable,
    KeyEntry,
    Line,
    Mark,
    Named,
    Points,
    series_role,
)
from server.charts.scale import nice_bounds
from server.model.results import Curve, LoadPoint, Reduction
from server.model.words import MetricName
from server.wording.figures import expanded, show_quantity, shown_scale

NamedRun = tuple[str, Reduction]


@dataclass(frozen=True, slots=True)
class LoadQuantity:
    """One panel: the curve it shows and the fields of a load point behind it."""

    quantity: str
    label: str
    si_unit: str
    field: str
    u_field: str


QUANTITIES: tuple[LoadQuantity, ...] = (
    LoadQuantity("shaft_power", "shaft power", "W", "shaft_power_w", "u_shaft_power_w"),
    LoadQuantity("speed", "speed", "rad/s", "speed_rad_s", "u_speed_rad_s"),
    LoadQuantity("efficiency", "efficiency", "", "efficiency", "u_efficiency"),
    LoadQuantity("current", "current", "A", "current_a", "u_current_a"),
)


def along_the_load(
    runs: Reduction | Sequence[NamedRun], *, figure_id: str = "along-the-load"
) -> FigureSpec:
    """Small multiples over torque. One run: crosses, fit and band; more: a marker and hue each."""
    named: Sequence[NamedRun] = [("", runs)] if isinstance(runs, Reduction) else runs
    panels = tuple(panel for q in QUANTITIES if (panel := _panel(q, named)) is not None)
    is_one = len(named) == 1
    return FigureSpec(
        id=figure_id,
        title="Along the load",
        sentence=_sentence(named, panels),
        panels=panels,
        table=_table(named),
        key=_key(named, is_one=is_one) if panels else (),
        notes=_notes(named),
        empty=None
        if panels
        else "No steady loads were measured, so there is no load line to draw.",
    )


def _panel(q: LoadQuantity, named: Sequence[NamedRun]) -> CurvesPanel | None:
    unit, scale = shown_scale(q.si_unit)
    lines: list[Line] = []
    points: list[Points] = []
    for i, (name, reduction) in enumerate(named):
        role = "measured" if len(named) == 1 else series_role(i)
        marker = "cross" if len(named) == 1 else MARKERS[i % len(MARKERS)]
        lines += [
            _line(c, name or q.label, role, scale, is_one=len(named) == 1)
            for c in _curves(reduction, q)
        ]
        if measured := _points(reduction.points, q, name or "measured", role, marker, scale):
            points.append(measured)
    if not points and not lines:
        return None
    headline = _named(q, named[0][1], scale) if len(named) == 1 else ()
    torques = [v for line in lines for v in line.x] + [v for p in points for v in p.x]
    return CurvesPanel(
        x=Axis("torque", "N·m", *_bounds(torques + [n.x for n in headline])),
        y=Axis(q.label, unit, *_bounds(_y_values(lines, points) + [n.y for n in headline])),
        lines=tuple(lines),
        points=tuple(points),
        named=headline,
    )


# panel -> (value, its torque, label)
_NAMED: dict[str, tuple[tuple[MetricName, MetricName, str], ...]] = {
    "shaft_power": (
        (MetricName.SHAFT_POWER_MAX_STEADY, MetricName.TORQUE_AT_MAX_STEADY_POWER, "highest"),
        (
            MetricName.SHAFT_POWER_AT_RATED_CURRENT,
            MetricName.TORQUE_AT_RATED_CURRENT,
            "at rated current",
        ),
    ),
    "efficiency": ((MetricName.EFFICIENCY_MAX, MetricName.TORQUE_AT_EFFICIENCY_MAX, "best"),),
}


def _named(q: LoadQuantity, reduction: Reduction, scale: float) -> tuple[Named, ...]:
    """The points of a curve that the headline figures are read at."""
    found: list[Named] = []
    for value_name, torque_name, label in _NAMED.get(q.quantity, ()):
        metric, torque = reduction.metrics.get(value_name), reduction.metrics.get(torque_name)
        if metric is None or torque is None or metric.value is None or torque.value is None:
            continue
        words = "highest shown" if metric.lower_bound else label
        found.append(Named(torque.value, metric.value / scale, words))
    return tuple(found)


def _curves(reduction: Reduction, q: LoadQuantity) -> list[Curve]:
    return [c for c in reduction.curves if c.quantity == q.quantity and len(c.torque_nm) > 1]


# How many points of a fitted curve are drawn, alone and in a comparison: straight lines between
# them are within a tenth of a pixel.
POINTS_ALONE = 160
POINTS_COMPARED = 60


def _line(curve: Curve, name: str, role: str, scale: float, *, is_one: bool) -> Line:
    n = len(curve.torque_nm)
    step = max(1, n // (POINTS_ALONE if is_one else POINTS_COMPARED))
    kept = [i for i in range(n) if i % step == 0 or i == n - 1]
    return Line(
        name=name,
        role=role,
        x=tuple(curve.torque_nm[i] for i in kept),
        y=tuple(curve.value[i] / scale for i in kept),
        half_width=tuple((expanded(curve.standard_uncertainty[i]) or 0.0) / scale for i in kept),
        beyond=tuple(curve.beyond[i] for i in kept),
    )


# Load points of one appliance in a comparison: more markers hide the others.
MARKERS_COMPARED = 12


def _spread(points: list[LoadPoint]) -> list[LoadPoint]:
    """At most so many of the points, evenly along the load, both ends kept."""
    if len(points) <= MARKERS_COMPARED:
        return points
    ordered = sorted(points, key=lambda p: p.torque_nm)
    step = (len(ordered) - 1) / (MARKERS_COMPARED - 1)
    return [ordered[round(i * step)] for i in range(MARKERS_COMPARED)]


def _points(
    load: Sequence[LoadPoint], q: LoadQuantity, name: str, role: str, marker: str, scale: float
) -> Points | None:
    measured = [p for p in load if getattr(p, q.field) is not None]
    if not measured:
        return None
    is_one = marker == "cross"
    if not is_one:
        measured = _spread(measured)
    # Side by side the bands tell the uncertainty; bars on top of one another tell nothing.
    halves = [expanded(getattr(p, q.u_field)) if is_one else None for p in measured]
    return Points(
        name=name,
        role=role,
        marker=marker,
        x=tuple(p.torque_nm for p in measured),
        y=tuple(getattr(p, q.field) / scale for p in measured),
        half_width=tuple(None if h is None else h / scale for h in halves),
    )


def _y_values(lines: Sequence[Line], points: Sequence[Points]) -> list[float]:
    """What the y axis must hold: points and fits; a band that flares beyond may leave the frame."""
    values = [v for p in points for v in p.y]
    return values + [v for line in lines for v in line.y if v is not None]


def _bounds(values: Sequence[float]) -> tuple[float, float]:
    """From zero to a little past the highest; below zero only where something lies there."""
    low, high = min(values), max(values)
    span = (high - min(low, 0.0)) or 1.0
    bottom, top = nice_bounds(low if low < -0.02 * span else 0.0, high + 0.03 * span, 8)
    return bottom, min(top, high + 0.1 * span) if high > 0 else top


def _notes(named: Sequence[NamedRun]) -> tuple[str, ...]:
    most = max((len(run.points) for _, run in named), default=0)
    if len(named) > 1 and most > MARKERS_COMPARED:
        return (
            "Where an appliance has many load points, 12 are shown; the page of its run has all.",
        )
    return ()


def _key(named: Sequence[NamedRun], *, is_one: bool) -> tuple[KeyEntry, ...]:
    has_beyond = any(any(c.beyond) for _, r in named for c in r.curves)
    beyond = (KeyEntry(Mark.BEYOND, "beyond the data", "wall"),) if has_beyond else ()
    if is_one:
        has_headline = any(_named(q, named[0][1], 1.0) for q in QUANTITIES)
        headline = (KeyEntry(Mark.SHAFT, "headline figures"),) if has_headline else ()
        return (
            KeyEntry(Mark.POINT, "measured"),
            KeyEntry(Mark.LINE, "fit"),
            KeyEntry(Mark.BAND, "95 %"),
            *headline,
            *beyond,
        )
    series = tuple(
        KeyEntry(Mark.SERIES, name, series_role(i), MARKERS[i % len(MARKERS)])
        for i, (name, _) in enumerate(named)
    )
    return (*series, KeyEntry(Mark.BAND, "95 %", "wall"), *beyond)


def _table(named: Sequence[NamedRun]) -> FigureTable:
    with_name = len(named) > 1
    head = ("Appliance",) if with_name else ()
    return FigureTable(
        caption="Measured load points, 95 % intervals",
        headers=(*head, "Torque", "Shaft power", "Speed", "Efficiency", "Current", "From the wall"),
        rows=tuple(
            (*((name,) if with_name else ()), *_point_words(point))
            for name, reduction in named
            for point in (_spread(list(reduction.points)) if with_name else reduction.points)
        ),
        numeric=frozenset(range(len(head), len(head) + 6)),
    )


def _point_words(p: LoadPoint) -> tuple[str, ...]:
    def words(value: float | None, u: float | None, unit: str) -> str:
        return "not measured" if value is None else show_quantity(value, u, unit)

    return (
        words(p.torque_nm, p.u_torque_nm, "N m"),
        words(p.shaft_power_w, p.u_shaft_power_w, "W"),
        words(p.speed_rad_s, p.u_speed_rad_s, "rad/s"),
        words(p.efficiency, p.u_efficiency, ""),
        words(p.current_a, p.u_current_a, "A"),
        words(p.input_power_w, p.u_input_power_w, "W"),
    )


def _sentence(named: Sequence[NamedRun], panels: Sequence[CurvesPanel]) -> str:
    if not panels:
        return "No steady loads were measured."
    what = ", ".join(panel.y.label for panel in panels)
    n_points = sum(len(reduction.points) for _, reduction in named)
    loads = "one measured load" if n_points == 1 else f"{n_points} measured loads"
    whose = "" if len(named) == 1 else " of " + ", ".join(name for name, _ in named)
    return (
        f"{what.capitalize()} over torque{whose}: {loads}, the fitted curves and their 95 % bands."
    )
