"""The motor's model beside the measured loads, and what it leaves over."""

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
)
from server.charts.scale import nice_bounds
from server.model.motor import ChannelResiduals, LossPart, MotorFit
from server.model.results import LoadPoint
from server.model.words import Channel
from server.wording.figures import expanded, show_quantity, shown_scale

# channel -> (label, unit, field of the curve, field of a load point)
QUANTITIES = {
    Channel.TORQUE: ("torque", "N m", "torque_nm", "torque_nm"),
    Channel.CURRENT: ("current", "A", "current_a", "current_a"),
    Channel.POWER: ("from the wall", "W", "input_power_w", "input_power_w"),
}
NO_MODEL = "No model of the motor was fitted."


def losses_at(motor: MotorFit, torque_nm: float) -> tuple[LossPart, ...]:
    """The losses by kind at a torque, straight between load points; none outside them.

    Followed from the fast end: past an induction motor's pull-out a torque is met twice.
    """
    for a, b in pairwise(motor.losses):
        low, high = sorted((a.torque_nm, b.torque_nm))
        if low <= torque_nm <= high and high > low:
            share = (torque_nm - a.torque_nm) / (b.torque_nm - a.torque_nm)
            parts = tuple(
                LossPart(
                    p.kinds,
                    p.power_w + share * (q.power_w - p.power_w),
                    p.standard_uncertainty
                    + share * (q.standard_uncertainty - p.standard_uncertainty),
                )
                for p, q in zip(a.parts, b.parts, strict=True)
            )
            return parts if all(p.power_w > 0 for p in parts) else ()
    return ()


def motor_over_speed(
    motor: MotorFit, points: Sequence[LoadPoint], *, figure_id: str = "motor-over-speed"
) -> FigureSpec:
    """Torque, current and input power over speed: measured crosses, the model's line, dashed
    beyond the data."""
    curve = motor.curve
    panels: list[CurvesPanel] = []
    if curve is not None and len(curve.speed_rad_s) > 1:
        _, per_speed = shown_scale("rad/s")
        x = tuple(v / per_speed for v in curve.speed_rad_s)
        for label, si_unit, of_curve, of_point in QUANTITIES.values():
            unit, scale = shown_scale(si_unit)
            y = tuple(v / scale for v in getattr(curve, of_curve))
            measured = [p for p in points if getattr(p, of_point) is not None]
            crosses = Points(
                "measured",
                "measured",
                "cross",
                tuple(p.speed_rad_s / per_speed for p in measured),
                tuple(getattr(p, of_point) / scale for p in measured),
            )
            top = max((*y, *crosses.y))
            panels.append(
                CurvesPanel(
                    x=Axis("speed", "r/min", *nice_bounds(min(x), max(x), 8, with_zero=False)),
                    y=Axis(label, unit, *nice_bounds(min(0.0, *y), 1.03 * top, 8)),
                    lines=(Line(label, "measured", x, y, beyond=curve.is_beyond),),
                    points=(crosses,) if measured else (),
                )
            )
    return FigureSpec(
        id=figure_id,
        title="The motor's model over speed",
        sentence="Torque, current and input power over speed, measured and by the motor's model."
        if panels
        else NO_MODEL,
        panels=tuple(panels),
        table=_curve_table(motor),
        key=(
            KeyEntry(Mark.POINT, "measured load"),
            KeyEntry(Mark.LINE, "model"),
            KeyEntry(Mark.BEYOND, "beyond the data", "wall"),
        )
        if panels
        else (),
        empty=None if panels else NO_MODEL,
    )


def motor_residuals(motor: MotorFit, *, figure_id: str = "motor-residuals") -> FigureSpec:
    """Measured minus model at every load point that was fitted, over speed."""
    _, per_speed = shown_scale("rad/s")
    speeds = tuple(at.speed_rad_s / per_speed for at in motor.losses)
    panels = tuple(_residual_panel(one, speeds) for one in motor.residuals)
    return FigureSpec(
        id=figure_id,
        title="Measured minus model",
        sentence="How far each measured load lies from the motor's model." if panels else NO_MODEL,
        panels=panels,
        table=_residual_table(motor),
        key=(
            KeyEntry(Mark.POINT, "measured minus model"),
            KeyEntry(Mark.INTERVAL, "95 % of what it was weighed with"),
        )
        if panels
        else (),
        notes=("Errors that an instrument makes alike at all loads are taken out.",),
        empty=None if panels else NO_MODEL,
    )


def _residual_panel(one: ChannelResiduals, speeds: tuple[float, ...]) -> CurvesPanel:
    label, si_unit, _, _ = QUANTITIES[one.channel]
    unit, scale = shown_scale(si_unit)
    y = tuple(v / scale for v in one.residual)
    halves = tuple((expanded(s) or 0.0) / scale for s in one.scatter)
    reach = max(abs(v) + h for v, h in zip(y, halves, strict=True)) or 1.0
    return CurvesPanel(
        x=Axis("speed", "r/min", *nice_bounds(min(speeds), max(speeds), 8, with_zero=False)),
        y=Axis(f"{label}, off the model by", unit, *nice_bounds(-1.1 * reach, 1.1 * reach, 8)),
        points=(Points(label, "measured", "cross", speeds, y, halves),),
    )


def _curve_table(motor: MotorFit) -> FigureTable:
    curve = motor.curve
    rows: list[tuple[str, ...]] = []
    if curve is not None:
        for i in range(0, len(curve.speed_rad_s), 5):
            rows.append(
                (
                    show_quantity(curve.speed_rad_s[i], None, "rad/s"),
                    show_quantity(curve.torque_nm[i], None, "N m"),
                    show_quantity(curve.current_a[i], None, "A"),
                    show_quantity(curve.input_power_w[i], None, "W"),
                    "beyond the data" if curve.is_beyond[i] else "within the data",
                )
            )
    return FigureTable(
        "The motor's model over speed",
        ("Speed", "Torque", "Current", "From the wall", "Where"),
        tuple(rows),
        frozenset({1, 2, 3}),
    )


def _residual_table(motor: MotorFit) -> FigureTable:
    rows: list[tuple[str, ...]] = []
    for one in motor.residuals:
        label, si_unit, _, _ = QUANTITIES[one.channel]
        for at, r, s in zip(motor.losses, one.residual, one.scatter, strict=True):
            speed = show_quantity(at.speed_rad_s, None, "rad/s")
            rows.append((label, speed, show_quantity(r, s, si_unit)))
    return FigureTable(
        "Measured minus model, with 95 % of what it was weighed with",
        ("Figure", "Speed", "Minus model"),
        tuple(rows),
        frozenset({1, 2}),
    )
