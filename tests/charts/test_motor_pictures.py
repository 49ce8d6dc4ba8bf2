"""The motor's model as pictures: losses by kind, lines over speed, residuals."""

from dataclasses import replace

import pytest

from server.charts import (
    figure_plotly,
    figure_svg,
    motor_over_speed,
    motor_residuals,
    where_the_watts_go,
)
from server.charts.motor import losses_at
from server.model.motor import LossKind, MotorFit
from server.model.results import Reduction
from server.model.words import MetricName, MotorFamily
from server.reduction.motors.describe import fit_motor
from tests.charts.examples import reduction
from tests.reduction.motors.bench import GOOD_RIG, drawn

M = MetricName
SERIES = drawn("series", 41)
MOTOR = fit_motor(SERIES.points, plate=SERIES.plate, rig=GOOD_RIG, metrics=SERIES.metrics)


def a_run() -> Reduction:
    """A run whose highest steady power has both ends, from the load point nearest to it."""
    best = max(SERIES.points, key=lambda p: p.shaft_power_w)
    values = {
        M.SHAFT_POWER_MAX_STEADY: best.shaft_power_w,
        M.INPUT_POWER_AT_MAX_STEADY_POWER: best.input_power_w,
        M.TORQUE_AT_MAX_STEADY_POWER: best.torque_nm,
    }
    like = reduction()
    some = next(iter(like.metrics.values()))
    metrics = {
        name: replace(some, name=name, value=v, standard_uncertainty=0.003 * (v or 0), reason=None)
        for name, v in values.items()
    }
    return replace(like, metrics=metrics, points=SERIES.points, motor=MOTOR)


def test_the_loss_is_drawn_in_kinds_that_fill_what_was_measured() -> None:
    run = a_run()
    spec = where_the_watts_go(run)
    (panel,) = spec.panels
    shaft, *parts = panel.parts
    assert [p.label for p in parts] == ["copper", "brushes", "iron, friction and windage"]
    assert sum(p.value for p in panel.parts) == pytest.approx(panel.source.value, rel=1e-12)
    assert shaft.role == "measured"
    assert all(p.role == "loss" and p.value > 0 for p in parts)
    assert "in copper" in spec.sentence
    assert any("add up to" in note for note in spec.notes)
    assert [row[0] for row in spec.table.rows][3:] == [
        "Of it copper",
        "Of it brushes",
        "Of it iron, friction and windage",
    ]
    assert "brushes" in figure_svg(spec, width=328)


def test_without_a_model_the_losses_stay_one() -> None:
    run = replace(a_run(), motor=MotorFit(MotorFamily.UNKNOWN, reason="not known"))
    (panel,) = where_the_watts_go(run).panels
    assert [p.label for p in panel.parts] == ["shaft", "losses, together"]


def test_losses_between_two_load_points_lie_between_theirs() -> None:
    a, b = MOTOR.losses[4], MOTOR.losses[5]
    found = losses_at(MOTOR, (a.torque_nm + b.torque_nm) / 2)
    for part, p, q in zip(found, a.parts, b.parts, strict=True):
        assert part.power_w == pytest.approx((p.power_w + q.power_w) / 2, rel=1e-9)
    assert found[0].kinds == (LossKind.COPPER,)
    assert losses_at(MOTOR, 10 * MOTOR.losses[-1].torque_nm) == ()


def test_what_lies_beyond_the_data_is_dashed() -> None:
    spec = motor_over_speed(MOTOR, SERIES.points)
    assert len(spec.panels) == 3
    for panel in spec.panels:
        assert any(panel.lines[0].beyond)
        assert len(panel.points[0].x) == len(SERIES.points)
    assert figure_plotly(spec)["data"]
    assert "r/min" in figure_svg(spec, width=1080)


def test_residuals_stand_over_speed() -> None:
    spec = motor_residuals(MOTOR)
    assert len(spec.panels) == 3
    assert len(spec.table.rows) == 3 * len(SERIES.points)
    assert {row[0] for row in spec.table.rows} == {"current", "torque", "from the wall"}


def test_no_model_is_an_empty_picture() -> None:
    none = MotorFit(MotorFamily.UNKNOWN, reason="not known")
    assert motor_over_speed(none, ()).empty is not None
    assert motor_residuals(none).empty is not None
