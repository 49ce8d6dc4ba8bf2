"""What the contract's JSON adds for run kinds beside the brake run."""

from typing import cast

from server.model.measured import JsonValue
from server.model.results import Reduction
from server.model.words import MetricName, RunKind

Json = dict[str, JsonValue]
M = MetricName

# Figures that stand at the head of the JSON too, under their own names.
HEADS: dict[RunKind, tuple[MetricName, ...]] = {
    RunKind.RUN_DOWN: (M.ROTOR_INERTIA, M.DRAG),
    RunKind.IN_USE: (M.OPERATING_SPEED, M.SHAFT_POWER_IN_USE, M.AGREEMENT_Z),
}
DRAG_TERMS = (M.DRAG_CONSTANT, M.DRAG_LINEAR, M.DRAG_QUADRATIC)


def with_kind_words(reduction: Reduction, found: Json) -> Json:
    """Put a kind's own figures at the head, and the coefficients with the drag.

    Drag torque (N m) at speed w (rad/s) is the sum of coefficients[p] w^p; a part that the run
    does not ask for is 0.
    """
    metrics = cast(dict[str, Json], found["metrics"])
    drag = metrics.get(M.DRAG.value)
    if drag is not None:
        drag |= drag_coefficients(reduction)
    heads = HEADS.get(reduction.kind, ())
    return found | {name.value: cast(JsonValue, metrics[name.value]) for name in heads}


def drag_coefficients(reduction: Reduction) -> Json:
    drag = reduction.metrics[M.DRAG]
    if drag.value is None:
        return {"speed": None, "coefficients": None, "coefficient_uncertainties": None}
    terms = [reduction.metrics[name] for name in DRAG_TERMS]
    return {
        "speed": reduction.metrics[M.SPEED_HIGHEST].value,
        "coefficients": [0.0 if t.value is None else t.value for t in terms],
        "coefficient_uncertainties": [t.standard_uncertainty or 0.0 for t in terms],
        "coefficient_units": [t.unit for t in terms],
    }
