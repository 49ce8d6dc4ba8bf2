"""Torque against speed, of runs without a brake: what slows a shaft, or what speeds it up."""

from collections.abc import Sequence

from server.charts.figure import (
    Axis,
    CurvesPanel,
    FigureSpec,
    FigureTable,
    KeyEntry,
    Line,
    Mark,
    Points,
)
from server.charts.scale import nice_bounds
from server.model.results import Curve, LoadPoint, Reduction
from server.model.words import MetricName, RunKind
from server.wording.figures import RAD_S_PER_R_MIN, expanded, show_quantity

TERMS = (MetricName.DRAG_CONSTANT, MetricName.DRAG_LINEAR, MetricName.DRAG_QUADRATIC)
DRAWN = 61


def torque_over_speed(reduction: Reduction, *, figure_id: str = "torque-over-speed") -> FigureSpec:
    """Torque (and power, of a run-up) over speed: local slopes as crosses, the fit as a line."""
    points = sorted(reduction.points, key=lambda p: p.speed_rad_s)
    is_drag = reduction.kind is RunKind.RUN_DOWN
    panels = [_torque(points, _drag_line(reduction, points) if is_drag else ())]
    if not is_drag and points:
        panels.append(_power(points, reduction.curves))
    title = "Drag against speed" if is_drag else "Torque and power against speed"
    has_line = any(panel.lines for panel in panels)
    fit = (KeyEntry(Mark.LINE, "fit"),) if has_line else ()
    return FigureSpec(
        id=figure_id,
        title=title,
        sentence=_sentence(points, is_drag=is_drag),
        panels=tuple(panels) if points else (),
        table=_table(points),
        key=(KeyEntry(Mark.POINT, "from local slopes"), *fit) if points else (),
        notes=(_note(reduction),) if points else (),
        empty=None if points else "No torque came out of this run, so there is nothing to draw.",
    )


def _torque(points: Sequence[LoadPoint], lines: tuple[Line, ...]) -> CurvesPanel:
    torque = [(p.torque_nm, p.u_torque_nm) for p in points]
    return _panel("torque", "N·m", points, torque, lines)


def _power(points: Sequence[LoadPoint], curves: Sequence[Curve]) -> CurvesPanel:
    by_name = {curve.quantity: curve for curve in curves}
    speed, power = by_name.get("speed"), by_name.get("shaft_power")
    lines: tuple[Line, ...] = ()
    if speed is not None and power is not None:
        rows = sorted(zip(speed.value, power.value, power.standard_uncertainty, strict=True))
        lines = (
            Line(
                name="shaft power",
                role="measured",
                x=tuple(w / RAD_S_PER_R_MIN for w, _, _ in rows),
                y=tuple(p for _, p, _ in rows),
                half_width=tuple(expanded(u) or 0.0 for _, _, u in rows),
                beyond=(False,) * len(rows),
            ),
        )
    shown = [(p.shaft_power_w, p.u_shaft_power_w) for p in points]
    return _panel("shaft power", "W", points, shown, lines)


def _panel(
    name: str,
    unit: str,
    points: Sequence[LoadPoint],
    values: Sequence[tuple[float, float | None]],
    lines: tuple[Line, ...],
) -> CurvesPanel:
    """A quantity over speed; `values` with their standard uncertainty, one for each point."""
    return CurvesPanel(
        x=_speed_axis(points),
        y=_axis(name, unit, [value for value, _ in values]),
        lines=lines,
        points=(
            Points(
                name="from local slopes",
                role="measured",
                marker="cross",
                x=tuple(p.speed_rad_s / RAD_S_PER_R_MIN for p in points),
                y=tuple(value for value, _ in values),
                half_width=tuple(expanded(u) for _, u in values),
            ),
        ),
    )


def _drag_line(reduction: Reduction, points: Sequence[LoadPoint]) -> tuple[Line, ...]:
    """The drag that the coefficients give, over the speeds measured."""
    drag = reduction.metrics.get(MetricName.DRAG)
    if drag is None or drag.value is None or not points:
        return ()
    terms = [reduction.metrics[name].value or 0.0 for name in TERMS]
    low, high = points[0].speed_rad_s, points[-1].speed_rad_s
    speeds = [low + (high - low) * i / (DRAWN - 1) for i in range(DRAWN)]
    return (
        Line(
            name="drag torque",
            role="measured",
            x=tuple(w / RAD_S_PER_R_MIN for w in speeds),
            y=tuple(sum(c * w**p for p, c in enumerate(terms)) for w in speeds),
        ),
    )


def _speed_axis(points: Sequence[LoadPoint]) -> Axis:
    return _axis("speed", "r/min", [p.speed_rad_s / RAD_S_PER_R_MIN for p in points])


def _axis(label: str, unit: str, values: Sequence[float]) -> Axis:
    low, high = min((0.0, *values)), max((0.0, *values))
    bottom, top = nice_bounds(low, high + 0.03 * ((high - low) or 1.0), 8)
    return Axis(label, unit, bottom, top)


def _table(points: Sequence[LoadPoint]) -> FigureTable:
    return FigureTable(
        caption="Torque against speed, 95 % intervals",
        headers=("Speed", "Torque", "Power"),
        rows=tuple(
            (
                show_quantity(p.speed_rad_s, p.u_speed_rad_s, "rad/s"),
                show_quantity(p.torque_nm, p.u_torque_nm, "N m"),
                show_quantity(p.shaft_power_w, p.u_shaft_power_w, "W"),
            )
            for p in points
        ),
        numeric=frozenset(range(3)),
    )


def _sentence(points: Sequence[LoadPoint], *, is_drag: bool) -> str:
    if not points:
        return "No torque came out of this run."
    what = "What slows the shaft with no drive" if is_drag else "What speeds up a known inertia"
    return f"{what}, against speed: {len(points)} stretches of the record, and the fit."


def _note(reduction: Reduction) -> str:
    if reduction.kind is RunKind.RUN_DOWN:
        return "The line is fitted to the speed itself, not to the crosses."
    words = next((curve.fit for curve in reduction.curves), "")
    return f"Fit: {words}." if words else "Too few stretches for a fit."
