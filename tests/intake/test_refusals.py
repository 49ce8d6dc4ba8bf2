"""A file that can't be used says so with row, column and remedy, and lists every problem."""

from pathlib import Path

import pytest

from server.errors import TooLarge, UnusableLog
from server.intake import ReadLimits, read_log
from server.model.words import Channel
from tests.intake.writing import read, read_any

GOOD = "t,n,M\n0,100,2\n1,110,2.5\n2,120,3\n"


@pytest.mark.parametrize(
    ("text", "row", "column", "words"),
    [
        ("t,n,M\n0,1,2\n1,1\n2,3,4\n", 3, None, "2 columns"),
        ("t,n,M\n0,1,2\n1,1,3,4\n2,3,4\n", 3, None, "4 columns"),
        ("# made up\n\nt;n;M\n0;1;2\n1;1;3\n7\n2;3;4\n", 6, None, "1 column"),
        ("t,n,M\n0,1,2\n1,abc,3\n2,3,4\n", 3, "n", "no figure"),
        ("t,n,M\n0,1,2\n1,1.2.3,3\n2,3,4\n", 3, "n", "no figure"),
        ("t,n,M\n0,1,2\n1,12:30,3\n2,3,4\n", 3, "n", "no figure"),
        ("t,n,Torque (foo)\n0,1,2\n1,1,3\n", None, "Torque (foo)", "not a unit of torque"),
        ("t,n,Torque (foo)\n0,1,2\n1,1,3\n", None, "Torque (foo)", "kgf·cm, gf·cm, lbf·ft"),
        ("t,n,M\n0,1,2\n1,1,3\n2,\0\0\0\0\0\0\0\0\0\0\0\0", 4, None, "zero bytes"),
        ("t,n,Torque (boiler hp)\n0,1,2\n1,1,3\n", None, "Torque (boiler hp)", "can't be used"),
        ("t,n,M,Temp\n0,1,2,\n1,1,3,---\n", None, "Temp", "holds no reading"),
        ("t,n,M\n0,OL,2\n1,OL,3\n", None, "n", "holds no reading"),
        ("t,n,M\n0,1,2\n", None, None, "one usable row"),
        ("t,n,M\n,1,2\n,1,2\n", None, None, "no usable rows"),
        ("t,n,M\n5,1,2\n5,1,3\n5,1,3\n", None, None, "same time"),
        ("t,U,M\n0,1,2\n1,1,3\n", None, None, "no column is speed"),
        ("t,n,U\n0,1,2\n1,1,3\n", None, None, "no column is force or torque"),
        ("n,M\n100,2\n110,2.5\n", None, None, "no column is a time"),
        ("0,1,2\n1,1,3\n", None, None, "no header"),
        ("t,n\n0,1,2\n1,1,3\n", 1, None, "header has 2 columns"),
        ("", None, None, "empty"),
        ("\n\n \n", None, None, "empty"),
        ("dear all,\nsee you at the bench\n", None, None, "not delimited text"),
        ("1\n2\n3\n", None, None, "not delimited text"),
        ("<!DOCTYPE html><html><body>0,1,2</body></html>", None, None, "not delimited text"),
        ("<?xml version='1.0'?><a/>", None, None, "not delimited text"),
    ],
)  # fmt: skip
def test_refused_with_place_and_remedy(
    text: str, row: int | None, column: str | None, words: str, tmp_path: Path
) -> None:
    with pytest.raises(UnusableLog) as caught:
        read(tmp_path, text)
    found = [p for p in caught.value.problems if words in p.message]
    assert found, caught.value.problems
    assert (found[0].row, found[0].column) == (row, column)
    assert all(p.remedy for p in caught.value.problems)
    assert "log.txt" in str(caught.value)


def test_every_bad_cell_of_a_piece_is_named(tmp_path: Path) -> None:
    with pytest.raises(UnusableLog) as caught:
        read(tmp_path, "t,n,M\n0,x1,2\n1,1,y2\n2,3,4\n3,3,4\n4,z3,4\n")
    assert {(p.row, p.column) for p in caught.value.problems} == {(2, "n"), (6, "n"), (3, "M")}


def test_every_row_of_another_width_is_named(tmp_path: Path) -> None:
    with pytest.raises(UnusableLog) as caught:
        read(tmp_path, "t,n,M\n0,1,2\n1,1\n2,3,4\n3,3,4,5\n4,3,4\n")
    assert [p.row for p in caught.value.problems] == [3, 5]


def test_a_header_that_stands_again_is_one_problem(tmp_path: Path) -> None:
    with pytest.raises(UnusableLog) as caught:
        read(tmp_path, "t (s),n (1/s),M (N m)\n0,1,2\n1,1,3\nt (s),n (1/s),M (N m)\n0,3,4\n1,3,4\n")
    assert [(p.row, p.message) for p in caught.value.problems] == [
        (4, "the header stands here again.")
    ]


def test_the_row_is_named_deep_in_a_file(tmp_path: Path) -> None:
    rows = [f"{i},{1000 + i},2.5" for i in range(5000)]
    rows[4321] = "4321,5321"
    with pytest.raises(UnusableLog) as caught:
        read(tmp_path, "t,n,M\r\n" + "\r\n".join(rows) + "\r\n")
    assert caught.value.problems[0].row == 4323


def test_a_short_row_is_told_from_a_blank_last_cell(tmp_path: Path) -> None:
    text = "t,n,M\n" + "".join(f"{i},100,{'' if i % 7 == 3 else 2.5}\n" for i in range(50))
    assert read(tmp_path, text).n_rows == 50
    with pytest.raises(UnusableLog, match="row 12"):
        read(tmp_path, text.replace("10,100,\n", "10,100\n"))


@pytest.mark.parametrize(
    "start",
    [
        b"%PDF-1.7\n%\xe2\xe3\n0,1,2\n", b"\x89PNG\r\n\x1a\n\x00\x00", b"\xff\xd8\xff\xe0\x00\x10",
        b"\x1f\x8b\x08\x00\x00", b"\xd0\xcf\x11\xe0\xa1\xb1", b"SQLite format 3\x00",
        b"PAR1\x15\x04", bytes(range(256)) * 8, b"\x00" * 500, b"{\\rtf1 hello 1,2}",
    ],
)  # fmt: skip
def test_other_kinds_of_file(start: bytes, tmp_path: Path) -> None:
    with pytest.raises(UnusableLog) as caught:
        read(tmp_path, start)
    problem = caught.value.problems[0]
    assert "not delimited text" in problem.message or "empty" in problem.message
    assert problem.remedy


def test_an_old_workbook_is_told_how_to_be_saved(tmp_path: Path) -> None:
    path = tmp_path / "log.xls"
    path.write_bytes(b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(2000))
    with pytest.raises(UnusableLog, match="Save the sheet as CSV"):
        read_log(path, name="log.xls")


@pytest.mark.parametrize(
    ("limits", "setting"),
    [
        (ReadLimits(max_bytes=20), "BENCHLEDGER_MAX_UPLOAD_BYTES"),
        (ReadLimits(max_rows=2), "BENCHLEDGER_MAX_ROWS"),
        (ReadLimits(max_columns=2), "BENCHLEDGER_MAX_COLUMNS"),
    ],
)
def test_limits_name_themselves_and_their_setting(
    limits: ReadLimits, setting: str, tmp_path: Path
) -> None:
    with pytest.raises(TooLarge, match=setting):
        read(tmp_path, GOOD, limits=limits)


def test_default_limits_let_large_logs_through() -> None:
    limits = ReadLimits()
    assert limits.max_bytes >= 512 * 1024**2
    assert limits.max_rows >= 5_000_000


@pytest.mark.parametrize(
    ("text", "n_rows", "note"),
    [
        ("t,n,M\n0,1,2.25\n1,1,3.25\n2,3,4.", 2, {"row": 4, "text": "2,3,4."}),
        ("t,n,M\n0,1,2.25\n1,1,3.25\n2,3,4.2", 2, {"row": 4, "text": "2,3,4.2"}),
        ("t,n,M\n0,1,2.25\n1,1,3.25\n2,3", 2, {"row": 4, "text": "2,3"}),
        ("t,n,M\n0,1,2.25\n1,1,3.25\n2,3,", 2, {"row": 4, "text": "2,3,"}),
        ("t,n,M\r\n0,1,225\r\n1,1,325\r\n2,3,4", 2, {"row": 4, "text": "2,3,4"}),
        ("t,n,M\n0,1,2.25\n1,1,3.25\n2,3,4.25", 3, None),
        ("t,n,M\n0,1,2.25\n1,1,3.25\n2,3,4.25\n", 3, None),
    ],
)
def test_a_cut_last_line_is_kept_out_and_noted(
    text: str, n_rows: int, note: object, tmp_path: Path
) -> None:
    log = read(tmp_path, text)
    assert log.n_rows == n_rows
    assert log.recording.notes.get("last_line_cut") == note


def test_a_whole_line_without_its_end_is_noted_too(tmp_path: Path) -> None:
    notes = read(tmp_path, GOOD[:-1]).recording.notes
    assert "last_line_cut" in notes  # "3" below 2.5 could be the start of 3.5
    notes = read(tmp_path, "t,n,M\n0,1,2.25\n1,1,3.25\n2,3,4.25").recording.notes
    assert notes == {"last_newline_missing": True}


def test_rows_without_time_are_dropped_and_counted(tmp_path: Path) -> None:
    log = read(tmp_path, "t,n,M\n0,1,2\n,7,8\n,,\n\n1,1,2\n")
    assert log.n_rows == 2
    assert log.recording.notes["rows_dropped"] == {
        "blank": 2, "without_time": 1, "first_row_without_time": 3,
    }  # fmt: skip


def test_rows_of_bare_separators_are_blank_whatever_their_width(tmp_path: Path) -> None:
    log = read(tmp_path, "t;n;M\n0;1.000;2,5\n;\n1;1;2\n2;1;2\n;;;;\n;;\n")
    assert log.n_rows == 3
    assert log.recording.notes["rows_dropped"] == {"blank": 3}
    assert log.recording.channels[Channel.SPEED][0] == pytest.approx(104.71975)


def test_other_kinds_of_run_need_no_torque(tmp_path: Path) -> None:
    log = read_any(tmp_path, "t,U,foo\n0,1,2\n1,1,2\n")
    assert set(log.recording.channels) == {Channel.VOLTAGE}
    assert log.recording.extras["foo"].tolist() == [2, 2]
