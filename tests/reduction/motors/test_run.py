"""A whole brake run has the motor's model with it, and its own figures are not touched."""

import json
from dataclasses import replace
from pathlib import Path

import pytest

from seed_data.draws import draw_case
from server.intake import read_bench, read_log
from server.model.results import Reduction, ReductionOptions
from server.model.words import MotorFamily, RunKind
from server.reduction import reduce_run
from server.wording.contract import reduction_to_json


def reduced(folder: Path, seed: int, *, family: MotorFamily | None = None) -> Reduction:
    case = draw_case(seed, style="dwells")
    path = folder / case.log_name
    path.write_bytes(case.log)
    bench = read_bench(case.bench)
    log = read_log(path, name=case.log_name, choices=bench.columns)
    plate = bench.plate if family is None else replace(bench.plate, motor_family=family)
    return reduce_run(
        log.recording, kind=RunKind.BRAKE, plate=plate, rig=bench.rig, options=ReductionOptions()
    )


@pytest.mark.parametrize("seed", [0, 6, 11])
def test_a_run_has_its_model(seed: int, tmp_path: Path) -> None:
    run = reduced(tmp_path, seed)
    assert run.motor is not None
    assert run.motor.reason is None
    assert run.motor.runner_up is not None
    assert max(abs(p.beyond_w) / p.u_beyond_w for p in run.motor.losses) < 4
    told = json.loads(json.dumps(reduction_to_json(run, (), ()), allow_nan=False))
    assert told["motor"]["model"] == run.motor.model


def test_an_unknown_family_has_a_reason_and_the_same_curves(tmp_path: Path) -> None:
    known = reduced(tmp_path, 11)
    unknown = reduced(tmp_path, 11, family=MotorFamily.UNKNOWN)
    assert unknown.motor is not None
    assert unknown.motor.model is None
    assert unknown.motor.reason is not None
    assert unknown.curves == known.curves
    by_place = {k for k in known.metrics if "max_steady" in k}
    for name, metric in unknown.metrics.items():
        if name not in by_place:  # where that stands a law tells better
            assert metric.value == known.metrics[name].value, name
