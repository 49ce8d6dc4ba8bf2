"""The motor's physics on the run page."""

from dataclasses import replace

import pytest

from server.actions.read_run_claims import read_run_claims
from server.model.motor import MotorFit
from server.model.words import MotorFamily
from server.pages.motor import show_motor
from server.pages.run import run_page
from server.pages.templating import render_text
from server.reduction.motors.describe import fit_motor
from tests.pages import rendering, samples
from tests.pages.reading import parsed, problems_of, text_of
from tests.reduction.motors.bench import GOOD_RIG, drawn

SECTION = "section[aria-labelledby=motor]"


def page_with(motor: MotorFit | None, points: tuple | None = None) -> str:
    view = samples.run_view("Millbeck")
    reduction = view.reduction
    assert reduction is not None
    points = points if points is not None else reduction.points
    view = replace(view, reduction=replace(reduction, motor=motor, points=points))
    page = run_page(view, readings=read_run_claims(view), viewer=None)
    return render_text("run.html", page=page, site=rendering.SITE)


@pytest.mark.parametrize("family", ["series", "permanent magnet", "induction"])
def test_the_page_tells_the_model(family: str) -> None:
    case = drawn(family, 41)
    motor = fit_motor(case.points, plate=case.plate, rig=GOOD_RIG, metrics=case.metrics)
    html = page_with(motor, case.points)
    assert problems_of(html) == []
    text = text_of(parsed(html), SECTION)
    assert motor.runner_up is not None
    assert motor.runner_up.model in text
    assert "Friction torque" in text
    assert "Normalised to plate voltage" in text
    assert parsed(html).select_one(f"{SECTION} svg") is not None


def test_no_model_is_one_sentence() -> None:
    html = page_with(MotorFit(MotorFamily.UNKNOWN, reason="the motor's family is not known"))
    assert problems_of(html) == []
    text = text_of(parsed(html), SECTION)
    assert "No model of the motor: the motor's family is not known." in text


def test_a_run_without_one_has_no_such_section() -> None:
    assert parsed(page_with(None)).find(id="motor") is None
    assert show_motor(None) is None
