"""The demo scenario: complete, repeatable, of the size it promises, read as it should be."""

import json
import tomllib
from pathlib import Path

import pytest

from seed_data import scenario
from seed_data.large import write_large_log
from seed_data.scenario import SeedRun
from server.actions.reduce_log import limits_of, reduce_log
from server.intake import read_bench
from server.model.results import Reduction
from server.model.words import FindingCode, MetricName, Severity
from server.settings import Settings


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("scenario")


@pytest.fixture(scope="module")
def runs(folder: Path) -> list[SeedRun]:
    return scenario.write(folder)


def reduced(folder: Path, log_name: str, bench_text: str) -> Reduction:
    """By the path of an upload: intake and reduction as the bench file says."""
    bench = read_bench(bench_text)
    limits = limits_of(Settings(data=folder))
    return reduce_log(folder / log_name, file_name=log_name, bench=bench, limits=limits).reduction


def test_the_scenario_holds_what_it_promises(folder: Path, runs: list[SeedRun]) -> None:
    benches = [tomllib.loads((folder / run.bench).read_text()) for run in runs]
    categories = {bench["appliance"]["category"] for bench in benches}
    assert len({run.appliance for run in runs}) >= 10
    assert len(categories) >= 5
    assert sum(run.kind == "brake" for run in runs) >= 24
    assert len({run.tester for run in runs}) == 3
    assert len({run.rig for run in runs}) >= 6
    for run in runs:
        size = (folder / run.log).stat().st_size
        assert (50_000 if run.kind == "brake" else 0) < size < 1_048_576, run.log
    manifest = json.loads((folder / "manifest.json").read_text())
    assert [entry["order"] for entry in manifest["runs"]] == list(range(1, len(runs) + 1))


def test_two_vacuums_are_printed_in_one_order_and_measured_in_the_other(
    folder: Path, runs: list[SeedRun]
) -> None:
    shown = {}
    for run in runs[:2]:
        bench = read_bench((folder / run.bench).read_text())
        shown[run.appliance] = (bench.claims[0].value_si, run.truth.shaft_power_max_steady)
    (printed_a, true_a), (printed_b, true_b) = shown.values()
    assert printed_a > printed_b
    assert true_a < true_b


def test_the_same_bytes_every_time(folder: Path, runs: list[SeedRun]) -> None:
    told = scenario.STORY[4]
    run, log, bench = scenario.make(5, told)
    assert (folder / run.log).read_bytes() == log
    assert (folder / run.bench).read_text() == bench


def test_every_run_of_the_scenario_reads_as_told(folder: Path, runs: list[SeedRun]) -> None:
    wrong = []
    for run in (run for run in runs if run.kind == "brake"):
        found = reduced(folder, run.log, (folder / run.bench).read_text())
        codes = {finding.code for finding in found.findings}
        errors = [f.code for f in found.findings if f.severity is Severity.ERROR]
        if missing := {FindingCode(code) for code in run.expects} - codes:
            wrong.append(f"{run.log}: no {sorted(missing)} among {sorted(codes)}")
        if run.is_sound and errors:
            wrong.append(f"{run.log}: {errors}")
        power = found.metrics[MetricName.SHAFT_POWER_MAX_STEADY]
        true = run.truth.shaft_power_max_steady
        if run.is_sound and power.lower_bound == run.is_bracketed:
            wrong.append(f"{run.log}: lower bound {power.lower_bound}, {power.value}, true {true}")
        if run.is_sound and run.is_bracketed and power.value != pytest.approx(true, rel=0.012):
            wrong.append(f"{run.log}: {power.value} W, true {true} W")
    assert not wrong, "\n".join(wrong)


@pytest.mark.parametrize("messy", [False, True])
def test_a_long_run_gives_its_true_figures(messy: bool, tmp_path: Path) -> None:
    large = write_large_log(tmp_path / "long.csv", 100_000, messy=messy)
    with large.path.open("rb") as file:
        head_lines = 4 if messy else 1
        assert sum(1 for _ in file) == 100_000 + head_lines
    found = reduced(tmp_path, "long.csv", large.bench)
    power = found.metrics[MetricName.SHAFT_POWER_MAX_STEADY].value
    assert power == pytest.approx(large.truth.shaft_power_max_steady, rel=0.01)
    assert not [f for f in found.findings if f.severity is Severity.ERROR]
