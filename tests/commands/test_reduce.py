"""The command as an outside check would call it: one JSON object, exit codes, no traceback."""

import json
import math
import subprocess
import sys
from pathlib import Path

import pytest

from tests.api.logs import small_log
from tests.commands.conftest import SentFiles
from tests.intake.sheets import log_rows, workbook

METRICS = {
    "free_speed", "shaft_power_at_rated_current", "efficiency_at_rated_current",
    "speed_at_rated_current", "torque_at_rated_current", "power_factor_at_rated_current",
    "input_power_at_rated_current", "shaft_power_max_steady", "torque_at_max_steady_power",
    "speed_at_max_steady_power", "current_at_max_steady_power", "efficiency_at_max_steady_power",
    "shaft_power_max_momentary", "efficiency_max",
}  # fmt: skip
MEANINGS = [
    "shaft_at_rated_current", "shaft_highest_steady", "shaft_highest_momentary",
    "brake_reading_while_slowing", "input_at_rated_current", "input_at_highest_steady",
    "input_rotor_held", "circuit_continuous_limit",
]  # fmt: skip


def benchledger(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "server.cli", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
    )


def test_json_has_the_agreed_shape_and_the_truth(sent: SentFiles) -> None:
    done = benchledger("reduce", sent.log, "--bench", sent.bench, "--json")
    assert done.returncode == 0, done.stderr
    results = json.loads(done.stdout)
    assert set(results) >= {"metrics", "findings", "claims", "columns", "lag", "method_version"}
    assert set(results["metrics"]) >= METRICS
    for metric in results["metrics"].values():
        assert set(metric) >= {"value", "unit", "standard_uncertainty", "lower_bound", "reason"}
        assert (metric["value"] is None) == (metric["reason"] is not None)
    for finding in results["findings"]:
        assert set(finding) >= {"code", "severity", "message", "evidence"}
        assert finding["severity"] in {"info", "warning"}
    claim = results["claims"][0]
    assert [m["meaning"] for m in claim["meanings"]] == MEANINGS
    assert set(claim["implied_current"]) >= {"value", "unit", "standard_uncertainty", "reason"}
    assert set(results["lag"]) >= {"seconds", "applied"}
    assert {"position", "header", "channel", "unit", "reason"} <= set(results["columns"][0])
    steady = results["metrics"]["shaft_power_max_steady"]["value"]
    assert steady == pytest.approx(sent.run.truth.shaft_power_max_steady, rel=0.01)


def test_a_table_for_people_names_the_printed_figure(sent: SentFiles) -> None:
    done = benchledger("reduce", sent.log, "--bench", sent.bench)
    assert done.returncode == 0, done.stderr
    assert "Printed:" in done.stdout
    assert "Method brake-" in done.stdout


def test_the_picture_is_a_drawing_of_its_own(sent: SentFiles, tmp_path: Path) -> None:
    picture = tmp_path / "load.svg"
    done = benchledger("reduce", sent.log, "--bench", sent.bench, "--svg", picture)
    assert done.returncode == 0, done.stderr
    text = picture.read_text(encoding="utf-8")
    assert "<svg" in text
    assert "nan" not in text.lower()


def test_figures_without_a_bench_file(sent: SentFiles) -> None:
    done = benchledger("reduce", sent.log, "--json")
    assert done.returncode in {0, 2}
    if done.returncode == 0:
        assert all(
            m["value"] is None or math.isfinite(m["value"])
            for m in json.loads(done.stdout)["metrics"].values()
        )


@pytest.mark.parametrize(
    ("content", "said"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "delimited text"),
        (b"", "empty"),
        (b"time_s,speed_rpm\n0,1\n1,2\n", "torque"),
    ],
    ids=["a picture", "nothing", "no torque"],
)
def test_a_file_that_cannot_be_used_ends_with_two(
    tmp_path: Path, content: bytes, said: str
) -> None:
    path = tmp_path / "log.csv"
    path.write_bytes(content)
    done = benchledger("reduce", path, "--json")
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


@pytest.mark.parametrize("name", ["log", "bench"])
def test_a_missing_file_is_named(sent: SentFiles, name: str) -> None:
    missing = sent.log.parent / "absent"
    log = missing if name == "log" else sent.log
    bench = missing if name == "bench" else sent.bench
    done = benchledger("reduce", log, "--bench", bench)
    assert done.returncode == 2
    assert "absent" in done.stderr


def test_a_bench_file_with_a_wrong_unit_names_the_key(sent: SentFiles) -> None:
    sent.bench.write_text('[plate]\nvoltage = "120 kg"\n', encoding="utf-8")
    done = benchledger("reduce", sent.log, "--bench", sent.bench)
    assert done.returncode == 2
    assert "voltage" in done.stderr


def test_a_sheet_gives_the_figures_of_its_text(sent: SentFiles, tmp_path: Path) -> None:
    text = tmp_path / "run.csv"
    text.write_text(small_log())
    sheet = tmp_path / "run.xlsx"
    sheet.write_bytes(workbook(log_rows(small_log())))
    results = []
    for path in (text, sheet):
        done = benchledger("reduce", path, "--bench", sent.bench, "--json")
        assert done.returncode == 0, done.stderr
        results.append(json.loads(done.stdout)["metrics"])
    assert results[0] == results[1]


def test_a_folder_is_told_from_a_file_that_is_not_there(tmp_path: Path) -> None:
    done = benchledger("reduce", tmp_path)
    assert done.returncode == 2
    assert "This is a folder." in done.stderr
    done = benchledger("reduce", tmp_path / "none.csv")
    assert done.returncode == 2
    assert "There is no such file." in done.stderr
