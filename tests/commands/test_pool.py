"""`benchledger pool` as an outside check would call it."""

import json
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

KEYS = {
    "pooled", "between_tester_sd", "q", "i_squared", "birge_ratio", "repeatability_sd",
    "reproducibility_sd", "consistency", "critical",
}  # fmt: skip
STATED = (
    "tester,value,standard_uncertainty\n"
    "Halden,838,8\nOskby,846,6\nVey,829,9\nTarn,905,7\nRusk,841,5\n"
)
REPEATED = "tester,value\n" + "".join(
    f"{name},{value}\n"
    for name, values in (("Halden", (10, 11)), ("Oskby", (10.5, 11.2)), ("Vey", (9.8, 10.4)))
    for value in values
)


def benchledger(*arguments: object) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "server.cli", *map(str, arguments)],
        capture_output=True,
        text=True,
        check=False,
    )


@pytest.fixture
def table(tmp_path: Path) -> Path:
    return tmp_path / "results.csv"


def pooled_json(table: Path, text: str) -> dict[str, Any]:
    table.write_text(text)
    done = benchledger("pool", table, "--json")
    assert done.returncode == 0, done.stderr
    return json.loads(done.stdout)


def test_json_has_the_agreed_shape(table: Path) -> None:
    shape = pooled_json(table, STATED)
    assert set(shape) >= KEYS
    assert set(shape["pooled"]) >= {"value", "standard_uncertainty", "interval"}
    assert set(shape["pooled"]["interval"]) == {"low", "high", "coverage"}
    assert shape["pooled"]["interval"]["coverage"] == 0.95
    assert set(shape["critical"]) == {"h", "k"}
    assert [row["tester"] for row in shape["consistency"]] == [
        "Halden",
        "Oskby",
        "Vey",
        "Tarn",
        "Rusk",
    ]
    for row in shape["consistency"]:
        assert set(row) >= {"tester", "h", "k", "flagged"}
        assert row["k"] is None
    assert [row["flagged"] for row in shape["consistency"]] == [False, False, False, True, False]
    assert "Tarn" in shape["findings"][0]
    interval = shape["pooled"]["interval"]
    # t with 4 degrees of freedom.
    assert interval["high"] - shape["pooled"]["value"] == pytest.approx(
        2.77644511 * shape["pooled"]["standard_uncertainty"]
    )
    assert shape["reasons"]["repeatability_sd"]


def test_repeated_values_give_repeatability(table: Path) -> None:
    shape = pooled_json(table, REPEATED)
    assert shape["repeatability_sd"] == pytest.approx((0.5 + 0.245 + 0.18) ** 0.5 / 3**0.5)
    assert shape["reproducibility_sd"] >= shape["repeatability_sd"]
    assert shape["critical"]["k"] == pytest.approx(1.72, abs=5e-3)
    assert all(row["k"] is not None for row in shape["consistency"])


def test_one_tester_keeps_the_shape(table: Path) -> None:
    shape = pooled_json(table, "tester,value,standard_uncertainty\nHalden,838,8\n")
    assert set(shape) >= KEYS
    assert shape["pooled"]["value"] == 838
    assert shape["pooled"]["standard_uncertainty"] == 8
    assert shape["pooled"]["interval"] == {"low": None, "high": None, "coverage": 0.95}
    assert shape["between_tester_sd"] is None
    assert shape["n_testers"] == 1
    assert shape["reasons"]["interval"]


def test_a_table_for_people(table: Path) -> None:
    table.write_text(STATED)
    done = benchledger("pool", table)
    assert done.returncode == 0, done.stderr
    assert "pooled, testers: 5" in done.stdout
    assert "stands apart" in done.stdout
    assert "Paule and Mandel" in done.stdout


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("who,value\nA,5\n", "row 1, column “tester”"),
        ("tester,value\nA,about 5\n", "row 2, column “value”"),
        ("tester,value,standard_uncertainty\nA,5,0\n", "row 2, column “standard_uncertainty”"),
        ("", "empty"),
    ],
)
def test_an_unusable_file_ends_with_2_and_a_remedy(table: Path, text: str, words: str) -> None:
    table.write_text(text)
    done = benchledger("pool", table, "--json")
    assert done.returncode == 2
    assert words in done.stderr
    assert "Traceback" not in done.stderr
    assert done.stdout == ""


def test_a_missing_file_ends_with_2(table: Path) -> None:
    done = benchledger("pool", table)
    assert done.returncode == 2
    assert "no such file" in done.stderr
