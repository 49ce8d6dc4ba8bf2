"""The part of the run page that tells what the motor's physics say."""

from dataclasses import dataclass, replace

from server.charts import motor_over_speed, motor_residuals, where_the_watts_go
from server.charts.figure import FigureSpec, FigureTable
from server.model.motor import MotorFit, NormalisedMetric
from server.model.results import Reduction
from server.pages.methods import method_links
from server.pages.pictures import show_figure
from server.pages.shapes import FigureShown
from server.wording.figures import ZERO_CELSIUS_K, metric_label, show_quantity
from server.wording.motor import model_sentence, motor_notes, parameter_label, show_parameter
from server.wording.numbers import NB_SPACE


@dataclass(frozen=True, slots=True)
class MotorShown:
    sentence: str
    notes: tuple[str, ...]
    watts: FigureShown | None
    parameters: FigureTable | None
    normalised: FigureTable | None
    figures: tuple[FigureShown, ...]
    models: FigureTable | None


def show_motor(reduction: Reduction | None) -> MotorShown | None:
    """None where no model was looked for, and where there is nothing to look at."""
    if reduction is None or reduction.motor is None or not reduction.points:
        return None
    motor = reduction.motor
    if motor.model is None:
        return MotorShown(model_sentence(motor), (), None, None, None, (), None)
    links = method_links(("motor-models", "The models and their limits"))
    watts = where_the_watts_go(reduction, figure_id="motor-watts")
    return MotorShown(
        sentence=model_sentence(motor),
        notes=motor_notes(motor),
        watts=show_figure(watts, explore=False, links=links) if watts.panels else None,
        parameters=_parameters(motor),
        normalised=_normalised(motor),
        figures=(
            _folded(motor_over_speed(motor, reduction.points)),
            _folded(motor_residuals(motor)),
        ),
        models=_models(motor),
    )


def _folded(spec: FigureSpec) -> FigureShown:
    """A picture that few unfold does without its middle width."""
    return replace(show_figure(spec, explore=False), middle="")


def _parameters(motor: MotorFit) -> FigureTable:
    return FigureTable(
        caption="Constants of the motor, with their expanded uncertainty, about 95 %",
        headers=("Constant", "Value", "How well it is known"),
        rows=tuple(
            (parameter_label(p.name), show_parameter(p), p.identified.value)
            for p in motor.parameters
        ),
        numeric=frozenset({1}),
    )


def _normalised(motor: MotorFit) -> FigureTable | None:
    if not motor.normalised:
        return None
    return FigureTable(
        caption=f"Normalised to plate voltage{_windings(motor)} by the model; never compared with "
        "figures as tested",
        headers=("Figure", "Normalised", "As tested", "Tested at"),
        rows=tuple(_normalised_row(one) for one in motor.normalised),
        numeric=frozenset({1, 2, 3}),
    )


def _windings(motor: MotorFit) -> str:
    """ " and windings at 75 °C", where figures were carried to a temperature."""
    kelvin = motor.normalised[0].winding_k
    if kelvin is None:
        return ""
    return f" and windings at {kelvin - ZERO_CELSIUS_K:.4g}{NB_SPACE}°C"


def _normalised_row(one: NormalisedMetric) -> tuple[str, ...]:
    carried = one.reason or "not known"
    if one.value is not None:
        carried = show_quantity(one.value, one.standard_uncertainty, one.unit)
        carried += ", beyond the data" if one.is_beyond else ""
    as_tested = show_quantity(one.as_tested, None, one.unit)
    tested_at = f"{one.tested_voltage_v:.1f}{NB_SPACE}V"
    return (metric_label(one.name), carried, as_tested, tested_at)


def _models(motor: MotorFit) -> FigureTable:
    return FigureTable(
        caption="Models that were fitted",
        headers=("Model", "Constants", "Criterion above the chosen"),
        rows=tuple(
            (
                s.model[:1].upper() + s.model[1:],
                str(s.n_parameters),
                f"{s.criterion_above_chosen:.1f}".replace("-", "\u2212"),
            )
            for s in motor.scores
        ),
        numeric=frozenset({1, 2}),
    )
