"""RESULTS.csv: what is read, and what is refused with place and remedy."""

from pathlib import Path

import pytest

from server.errors import Problem, TooLarge, Unusable
from server.intake import results_table
from server.intake.limits import ReadLimits
from server.intake.results_table import read_results
from server.model.pooled import BenchResult


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "results.csv"


def read(file: Path, text: str | bytes) -> tuple[BenchResult, ...]:
    file.write_bytes(text if isinstance(text, bytes) else text.encode())
    return read_results(file, name="results.csv")


def problems(file: Path, text: str) -> list[Problem]:
    with pytest.raises(Unusable) as refusal:
        read(file, text)
    return refusal.value.problems


def test_both_layouts(file: Path) -> None:
    assert read(file, "tester,value,standard_uncertainty\nA,640,7\nB,655.5,5e0\n") == (
        BenchResult("A", 640.0, 7.0),
        BenchResult("B", 655.5, 5.0),
    )
    assert read(file, "tester,value\nA,640\nA,642\n") == (
        BenchResult("A", 640.0),
        BenchResult("A", 642.0),
    )


def test_columns_in_any_order_with_others_between(file: Path) -> None:
    text = 'run,Value,remark,Standard Uncertainty,TESTER,specimen\n1,5,"new, brushes",0.1,A b,x\n'
    assert read(file, text) == (BenchResult("A b", 5.0, 0.1, specimen="x", run="1"),)


def test_an_empty_uncertainty_column_is_none(file: Path) -> None:
    assert read(file, "tester,value,u\nA,5,\nB,6,-\n")[1] == BenchResult("B", 6.0)


@pytest.mark.parametrize("encoding", ["utf-8-sig", "utf-16", "cp1252"])
def test_encodings_comments_blank_lines_and_padding(file: Path, encoding: str) -> None:
    text = "# round of spring\r\n\r\n tester ; value \r\nMärta ; 5,5\r\n;;\r\nOla; 6,25\r\n"
    assert read(file, text.encode(encoding)) == (
        BenchResult("Märta", 5.5),
        BenchResult("Ola", 6.25),
    )


def test_a_comma_that_could_group_thousands_is_not_guessed(file: Path) -> None:
    (problem,) = problems(file, "tester;value\nA;1,234\n")
    assert (problem.row, problem.column) == (2, "value")
    assert "thousands" in problem.remedy
    # Another figure tells.
    assert read(file, "tester;value\nA;1,234\nB;1,5\n")[0].value == 1.234


@pytest.mark.parametrize(
    ("text", "row", "column", "words"),
    [
        ("tester;value\nA;x\n", 2, "value", "no figure"),
        ("tester,value\nA,640 W\n", 2, "value", "without unit"),
        ("tester,value\nA,\n", 2, "value", "empty"),
        ("tester,value\nA\n", 2, "value", "empty"),
        ("tester,value\nA,nan\n", 2, "value", "no figure"),
        ("tester,value\nA,1e300\n", 2, "value", "no figure"),
        ("tester,value\n\n,5\n", 3, "tester", "empty"),
        ("tester,value\nA,5\na,6\n", 3, "tester", "capitals"),
        ("tester,value\nA,1,5\n", 2, None, "quotation marks"),
        ("tester,value\nA,\"5\n", 2, None, "quotation mark"),
        ("tester,value,standard_uncertainty\nA,5,0\n", 2, "standard_uncertainty", "above zero"),
        ("tester,value,standard_uncertainty\nA,5,-1\n", 2, "standard_uncertainty", "above zero"),
        ("tester,value,standard_uncertainty\nA,5,1\nB,6,\n", 3, "standard_uncertainty", "all"),
        ("who,value\nA,5\n", 1, "tester", "no column"),
        ("tester\nA\n", 1, None, "one column"),
        ("tester,lab,value\nA,B,5\n", 1, "lab", "twice"),
    ],
)  # fmt: skip
def test_a_refusal_has_place_and_remedy(
    file: Path, text: str, row: int, column: str | None, words: str
) -> None:
    found = problems(file, text)[0]
    assert (found.row, found.column) == (row, column)
    assert words in str(found)
    assert found.remedy


def test_all_problems_come_at_once_in_order(file: Path) -> None:
    found = problems(file, "tester,value,u\nA,x,0\n,5,1\nb,6,\n")
    assert [(p.row, p.column) for p in found] == [
        (2, "value"),
        (2, "standard_uncertainty"),
        (3, "tester"),
    ]


def test_many_problems_are_counted(file: Path) -> None:
    found = problems(file, "tester,value\n" + "A,x\n" * 50)
    assert len(found) == 21
    assert "30 more" in found[-1].message


@pytest.mark.parametrize("text", ["", "\n\n", "# nothing\n", "tester,value\n"])
def test_an_empty_file_says_so(file: Path, text: str) -> None:
    assert problems(file, text)


def test_a_picture_is_no_table(file: Path) -> None:
    with pytest.raises(Unusable, match="a picture"):
        read(file, b"\x89PNG\r\n\x1a\n" + bytes(range(64)))


def test_too_large_names_its_limit(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    file.write_text("tester,value\nA,5\nB,6\nC,7\n")
    with pytest.raises(TooLarge, match="limit"):
        read_results(file, name="results.csv", limits=ReadLimits(max_bytes=10))
    monkeypatch.setattr(results_table, "MAX_RESULTS", 2)
    with pytest.raises(TooLarge, match="3 results"):
        read_results(file, name="results.csv")
