"""The run kind that DEVELOPERS.md adds as an example works as it stands there."""

import re
from pathlib import Path

import numpy as np
import pytest

from server.model.bench import Instrument, Plate, Rig
from server.model.results import ReductionOptions
from server.model.words import Channel, MetricName, RunKind, Supply
from tests.reduction.simulate_kinds import recording

GUIDE = Path(__file__).parents[2] / "DEVELOPERS.md"
# The example's own words do not exist: an unused kind and another figure stand in for them.
STAND_INS = {
    "RunKind.STANDBY": "RunKind.FLUID",
    "INPUT_POWER_STANDBY": "INPUT_POWER_IN_USE",
    "METHOD_VERSIONS[RunKind.FLUID]": '"standby-1"',
    "complete(RunKind.FLUID": "complete(RunKind.IN_USE",
}


def test_the_example_of_the_guide_gives_the_power_that_was_drawn() -> None:
    block = re.search(r"```python\n(.*?def reduce_standby.*?)```", GUIDE.read_text(), re.S)
    assert block is not None
    code = block.group(1)
    for word, stand_in in STAND_INS.items():
        assert word in code
        code = code.replace(word, stand_in)
    names: dict = {}
    exec(compile(code, str(GUIDE), "exec"), names)
    time = np.arange(0, 10, 0.1)
    rng = np.random.default_rng(4)
    made = recording(
        time, speed=np.where(time < 6, 0.0, 900.0), power=3.0 + rng.normal(0, 0.02, time.size)
    )
    rig = Rig(instruments=(Instrument(channel=Channel.POWER, of_reading=0.01),))

    reduction = names["reduce_standby"](
        made, plate=Plate(supply=Supply.AC), rig=rig, options=ReductionOptions()
    )

    power = reduction.metrics[MetricName.INPUT_POWER_IN_USE]
    assert reduction.kind is RunKind.FLUID
    assert power.value == pytest.approx(3.0, rel=0.01)
    assert power.standard_uncertainty == pytest.approx(0.03 / 3**0.5, rel=0.1)
    assert power.budget[0].component == "power: % of reading"
    assert len(reduction.segments) == 1
