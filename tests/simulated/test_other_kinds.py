"""Runs of the demo scenario beside the brake runs: each kind is there and finds its truth.

The simulator shares no code with the reduction; the truth is that of the equations it steps.
"""

from pathlib import Path

import pytest

from seed_data import scenario
from seed_data.other_story import OTHERS
from seed_data.scenario import SeedRun
from seed_data.story import STORY
from server.intake import read_bench
from server.model.measured import Metric
from server.model.words import MetricName, RunKind, Severity, Source
from server.reduction import place_in_use
from tests.simulated.test_scenario import reduced

M = MetricName
ORDERS = range(len(STORY) + 1, len(STORY) + len(OTHERS) + 1)


def made(folder: Path, order: int) -> tuple[SeedRun, str]:
    run, log, bench = scenario.make(order, (*STORY, *OTHERS)[order - 1])
    (folder / run.log).write_bytes(log)
    return run, bench


def brake_run_of_the_same_motor(folder: Path, run: SeedRun) -> tuple[SeedRun, str]:
    """The newest brake run of the appliance, as the pages take it."""
    piece = OTHERS[run.order - ORDERS[0]].piece
    for order in range(len(STORY), 0, -1):
        if STORY[order - 1].piece == piece and STORY[order - 1].is_sound:
            return made(folder, order)
    raise AssertionError(f"no brake run of {run.appliance}, {run.specimen}")


def figures(folder: Path, run: SeedRun, bench: str) -> dict[MetricName, Metric]:
    found = reduced(folder, run.log, bench)
    errors = [f.code for f in found.findings if f.severity is Severity.ERROR]
    assert not errors, f"{run.log}: {errors}"
    if found.kind is not RunKind.IN_USE:
        return found.metrics
    brake, of_brake = brake_run_of_the_same_motor(folder, run)
    return place_in_use(found.metrics, curve_of=reduced(folder, brake.log, of_brake))


@pytest.mark.parametrize("order", ORDERS)
def test_true_figures_lie_in_the_intervals(order: int, tmp_path: Path) -> None:
    run, bench = made(tmp_path, order)
    found = figures(tmp_path, run, bench)
    off = []
    assert run.true
    for name, true in run.true.items():
        metric = found[M(name)]
        low, high = metric.interval_low, metric.interval_high
        if name == M.SHAFT_POWER_ROTOR_HELD:  # zero by definition, without an uncertainty
            assert metric.value == true == 0.0
        elif low is None or high is None or not low <= true <= high:
            off.append(f"{name}: {metric.value} [{low}, {high}], true {true}; {metric.reason}")
    assert not off, f"{run.log}: {off}"


@pytest.mark.parametrize("order", ORDERS)
def test_intervals_say_something(order: int, tmp_path: Path) -> None:
    """Half-widths within 6 % of the value: an interval that holds the truth by width is none."""
    run, bench = made(tmp_path, order)
    found = figures(tmp_path, run, bench)
    for name in set(run.true) - {M.SHAFT_POWER_ROTOR_HELD}:
        metric = found[M(name)]
        assert metric.value is not None
        assert metric.interval_low is not None
        assert metric.value - metric.interval_low < 0.06 * abs(metric.value), f"{run.log}: {name}"


def test_every_kind_of_run_is_in_the_demonstration(tmp_path: Path) -> None:
    seen = set()
    for order in (1, *ORDERS):
        _, bench = made(tmp_path, order)
        described = read_bench(bench).run
        seen.add((described.kind, described.source))
    assert seen == {
        (RunKind.BRAKE, Source.LOGGER),
        (RunKind.RUN_DOWN, Source.LOGGER),
        (RunKind.RUN_UP, Source.LOGGER),
        (RunKind.IN_USE, Source.LOGGER),
        (RunKind.LOCKED_ROTOR, Source.LOGGER),
        (RunKind.BRAKE, Source.BY_HAND),
        (RunKind.BRAKE, Source.VIDEO),
    }


def test_in_use_and_on_the_brake_agree(tmp_path: Path) -> None:
    order = next(o for o in ORDERS if OTHERS[o - ORDERS[0]].kind == "in use")
    run, bench = made(tmp_path, order)
    z = figures(tmp_path, run, bench)[M.AGREEMENT_Z]
    assert z.value is not None
    assert abs(z.value) < 2
    assert len(reduced(tmp_path, run.log, bench).segments) == 3  # open, in work, blocked


def test_runs_of_other_kinds_are_the_same_bytes_every_time(tmp_path: Path) -> None:
    for order in ORDERS:
        assert (
            scenario.make(order, OTHERS[order - ORDERS[0]])[1:]
            == scenario.make(order, OTHERS[order - ORDERS[0]])[1:]
        )
