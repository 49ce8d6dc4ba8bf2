"""The one door of this room."""

from collections.abc import Callable
from importlib import import_module
from typing import cast

from server.errors import InvalidSignal
from server.model.bench import Plate, Rig
from server.model.recording import Recording
from server.model.results import Reduction, ReductionOptions
from server.model.words import RunKind
from server.reduction.by_row import rows_are_points
from server.reduction.versions import METHOD_VERSIONS

Reduce = Callable[..., Reduction]

# kind -> (module of this room, function): loaded when the first run of that kind is reduced.
METHODS: dict[RunKind, tuple[str, str]] = {
    RunKind.BRAKE: ("brake", "reduce_brake_run"),
    RunKind.RUN_DOWN: ("run_down", "reduce_run_down"),
    RunKind.RUN_UP: ("run_up", "reduce_run_up"),
    RunKind.IN_USE: ("in_use", "reduce_in_use"),
    RunKind.LOCKED_ROTOR: ("locked_rotor", "reduce_locked_rotor"),
}
# A brake run whose rows were noted one by one.
HAND_READINGS = ("hand_readings", "reduce_hand_readings")


def reduce_run(
    recording: Recording, *, kind: RunKind, plate: Plate, rig: Rig, options: ReductionOptions
) -> Reduction:
    """Reduce one run to metrics, curves, load points and findings.

    Parameters
    ----------
    recording : channels over time in SI; rows in any order, repeated rows allowed, NaN for blanks.
    kind : what kind of run this is; it picks the method.
    plate, rig : the rating plate and the rig as one revision each; every field may be absent.
    options : what else changes the figures.

    Returns
    -------
    Reduction. Whatever can't be had is a metric without value and with a reason; a poor run is
    never an exception. The same input gives the same output, bit for bit, on one machine. A brake
    run's has the motor's model too, or the reason why there is none.

    Raises
    ------
    InvalidSignal: a kind without a method, or arrays its method can't work on (fewer than two
    usable times; for a brake run no finite speed, or neither torque nor force).
    """
    if kind not in METHODS or kind not in METHOD_VERSIONS:
        raise InvalidSignal(f"there is no method for runs of kind “{kind.value}” yet")
    module, name = METHODS[kind]
    if kind is RunKind.BRAKE and rows_are_points(recording, options):
        module, name = HAND_READINGS
    reduce = cast(Reduce, getattr(import_module(f"server.reduction.{module}"), name))
    return reduce(recording, plate=plate, rig=rig, options=options)
