"""What most tests of this room need: reduce a simulated run."""

from collections.abc import Callable

import pytest

from server.model.results import Reduction, ReductionOptions
from server.model.words import RunKind
from server.reduction import reduce_run
from tests.reduction.simulate import Simulated


@pytest.fixture
def reduce() -> Callable[..., Reduction]:
    def run(simulated: Simulated, **changes: object) -> Reduction:
        parts = {
            "recording": simulated.recording,
            "plate": simulated.plate,
            "rig": simulated.rig,
            "options": ReductionOptions(),
        } | changes
        recording = parts.pop("recording")
        return reduce_run(recording, kind=RunKind.BRAKE, **parts)  # type: ignore[arg-type]

    return run
