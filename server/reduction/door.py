"""The one door of this room."""

from server.errors import InvalidSignal
from server.model.bench import Plate, Rig
from server.model.recording import Recording
from server.model.results import Reduction, ReductionOptions
from server.model.words import RunKind
from server.reduction.versions import METHOD_VERSIONS


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
    never an exception. The same input gives the same output, bit for bit, on one machine.

    Raises
    ------
    InvalidSignal: a kind without a method, or arrays no method can work on (fewer than two
    usable times, no finite speed, neither torque nor force).
    """
    if kind not in METHOD_VERSIONS:
        raise InvalidSignal(f"there is no method for runs of kind “{kind.value}” yet")
    from server.reduction.brake import reduce_brake_run

    return reduce_brake_run(recording, plate=plate, rig=rig, options=options)
