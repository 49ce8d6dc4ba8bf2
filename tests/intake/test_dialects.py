"""The same readings, however they are written, read as the same figures."""

from pathlib import Path

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from server.intake import recording_digest
from server.model.words import Channel
from tests.intake.writing import HEADER, Dialect, read, written

ROWS = [
    [0.1 * i, 230.0 + 0.25 * (i % 3), 1.5 + i, 300.0 + i, 0.5 + 0.125 * i, 21_500.0 - 100 * i]
    for i in range(12)
]
PLAIN = Dialect()

DIALECTS = {
    "semicolon, decimal comma": Dialect(";", ","),
    "semicolon, point": Dialect(";"),
    "tab": Dialect("\t"),
    "tab, decimal comma": Dialect("\t", ","),
    "bar": Dialect("|"),
    "spaces padded": Dialect(" ", pad=12),
    "spaces padded, decimal comma": Dialect(" ", ",", pad=12),
    "comma padded": Dialect(",", pad=12),
    "semicolon padded, decimal comma": Dialect(";", ",", pad=14),
    "quoted": Dialect(",", quote=True),
    "quoted, decimal comma, comma": Dialect(",", ",", quote=True),
    "quoted, semicolon": Dialect(";", ",", quote=True),
    "grouped by comma, quoted": Dialect(",", ".", ",", quote=True),
    "grouped by comma, semicolon": Dialect(";", ".", ","),
    "grouped by point": Dialect(";", ",", "."),
    "grouped by space": Dialect(";", ",", " "),
    "grouped by no-break space": Dialect(";", ",", "\u00a0"),
    "grouped by thin space": Dialect(";", ",", "\u202f"),
    "grouped by apostrophe": Dialect(";", ".", "'"),
    "grouped by curly apostrophe": Dialect("\t", ".", "\u2019"),
    "CRLF": Dialect(line_end="\r\n"),
    "CR": Dialect(line_end="\r"),
    "UTF-8 with mark": Dialect(bom=b"\xef\xbb\xbf"),
    "UTF-16 LE": Dialect(encoding="utf-16-le", bom=b"\xff\xfe"),
    "UTF-16 BE": Dialect(encoding="utf-16-be", bom=b"\xfe\xff"),
    "UTF-16 LE without mark": Dialect(encoding="utf-16-le"),
    "UTF-16 BE without mark, CRLF": Dialect(encoding="utf-16-be", line_end="\r\n"),
    "cp1252": Dialect(";", ",", encoding="cp1252"),
    "comment lines": Dialect(preamble=("# made by a logger", "# range 20 A, 300 V")),
    "metadata lines": Dialect(preamble=("Logger type 3", "Serial,12345", "", "Date,2026-03-01")),
    "trailing separator": Dialect(trailing_separator=True),
    "blank lines at the end": Dialect(blank_lines_at_end=3),
    "no last newline": Dialect(final_newline=False),
}


@pytest.mark.parametrize("dialect", DIALECTS.values(), ids=DIALECTS.keys())
def test_dialect_changes_no_figure(dialect: Dialect, tmp_path: Path) -> None:
    plain = read(tmp_path, written(ROWS, PLAIN))
    other = read(tmp_path, written(ROWS, dialect))
    assert other.n_rows == len(ROWS)
    assert [c.channel for c in other.columns] == [c.channel for c in plain.columns]
    assert recording_digest(other.recording) == recording_digest(plain.recording)


def test_a_units_row_counts_as_units(tmp_path: Path) -> None:
    names = ("t", "U", "I", "P", "M", "n")
    for units in (
        ("s", "V", "A", "W", "N·m", "1/min"),
        ("[s]", "[V]", "[A]", "[W]", "[Nm]", "[U/min]"),
        ("(sec)", "(Volts)", "(Amps)", "(Watts)", "(N.m)", "(min-1)"),
        ("s", "V", "A", "W", "N m", "tr/min"),
    ):
        log = read(tmp_path, written(ROWS, Dialect(";", ","), header=names, units=units))
        plain = read(tmp_path, written(ROWS, PLAIN))
        assert recording_digest(log.recording) == recording_digest(plain.recording)
        assert log.dialect["has_units_row"] is True


def test_cp1252_header_and_words(tmp_path: Path) -> None:
    text = "Zeit (s);Drehzahl (1/min);Moment (N·m);Temperatur (°C);Bemerkung\n"
    text += "0;100;1,5;20;Lüfter an\n1;110;1,6;20;Lüfter an\n"
    log = read(tmp_path, text.encode("cp1252"))
    assert log.dialect["encoding"] == "cp1252"
    assert log.recording.channels[Channel.TEMPERATURE_1][0] == pytest.approx(293.15)
    assert log.recording.notes["words"] == {"Bemerkung": [[0, "Lüfter an"]]}


def test_blank_cells_are_no_readings(tmp_path: Path) -> None:
    words = ["", "OL", "---", "NaN", " ", "n/a", "O.L", "-", "inf", "#N/A", "OVLD", "null"]
    body = "".join(f"{i},{100 + i},{word}\n" for i, word in enumerate(words))
    log = read(tmp_path, "t,n,M\n" + body + "12,112,1.5\n")
    torque = log.recording.channels[Channel.TORQUE]
    assert np.isnan(torque[:-1]).all()
    assert torque[-1] == 1.5
    assert log.n_rows == 13


def test_words_far_down_are_found_though_the_head_had_none(tmp_path: Path) -> None:
    rows = [f"{i / 10:.1f},{1000 + i},{1 + i / 1000:.3f}" for i in range(20_000)]
    rows[15_000] = "1500.0,OL, 2.5 "
    log = read(tmp_path, "t,n,M\n" + "\n".join(rows) + "\n")
    speed = log.recording.channels[Channel.SPEED]
    assert np.flatnonzero(np.isnan(speed)).tolist() == [15_000]
    assert log.recording.channels[Channel.TORQUE][15_000] == 2.5
    assert log.recording.notes["overload_cells"] == {"n": 1}


def test_grouped_thousands_far_down_are_not_taken_as_decimals(tmp_path: Path) -> None:
    rows = [f"{i / 10:.1f};{900 + i // 100};{1 + i / 10000:.4f}".replace(".", ",")
            for i in range(12_000)]  # fmt: skip
    rows[11_000] = "1100,0;1.010;2,1000"
    log = read(tmp_path, "t;n [1/min];M\n" + "\n".join(rows) + "\n")
    speed = log.recording.channels[Channel.SPEED] * 60 / (2 * np.pi)
    assert speed[11_000] == pytest.approx(1010, rel=1e-6)


def test_comment_lines_between_readings_are_passed_over(tmp_path: Path) -> None:
    log = read(tmp_path, "t,n,M\n0,1,2\n# fuse changed\n1,1,2\n2,1,2\n")
    assert log.n_rows == 3


def test_a_unit_behind_every_figure(tmp_path: Path) -> None:
    text = "t,n,M,U\n0 s,100 rpm,1.5 Nm,230 V\n1 s,110 rpm,OL,231 V\n"
    log = read(tmp_path, text)
    assert log.recording.channels[Channel.VOLTAGE].tolist() == [230, 231]
    assert log.recording.channels[Channel.SPEED][0] == pytest.approx(10.471976)


def test_header_over_two_lines_in_quotation_marks(tmp_path: Path) -> None:
    text = 'made up\n"t\n(s)","n\n(rpm)","M\n(N·m)"\n0.0,100,1.5\n0.1,110,1.6\n'
    log = read(tmp_path, text)
    assert [c.unit for c in log.columns] == ["s", "r/min", "N·m"]
    assert log.n_rows == 2


def test_a_stray_quotation_mark_in_words_stops_nothing(tmp_path: Path) -> None:
    log = read(tmp_path, 't,n,M,note\n0,1,2,5" hose\n1,1,2,ok\n2,1,2,ok\n')
    assert log.n_rows == 3
    assert log.recording.notes["words"] == {"note": [[0, '5" hose'], [1, "ok"]]}


def test_commented_header(tmp_path: Path) -> None:
    log = read(tmp_path, "# t n M\n0.0 100 1.5\n0.1 110 1.6\n")
    assert log.recording.channels[Channel.TORQUE].tolist() == pytest.approx([1.5, 1.6])


_numbers = st.floats(min_value=-9e4, max_value=9e4, allow_nan=False).map(lambda x: round(x, 4))
_marked = st.sampled_from(
    [(",", ".", ""), (";", ",", ""), (";", ".", ""), ("\t", ",", ""), ("\t", ".", ""),
     ("|", ".", ""), (";", ",", "."), (";", ",", " "), (";", ".", "'"), ("\t", ".", ","),
     (" ", ".", "")]
)  # fmt: skip
_coded = st.sampled_from(
    [("utf-8", b""), ("utf-8", b"\xef\xbb\xbf"), ("utf-16-le", b"\xff\xfe"),
     ("utf-16-be", b"\xfe\xff"), ("cp1252", b"")]
)  # fmt: skip


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    marked=_marked,
    coded=_coded,
    line_end=st.sampled_from(["\n", "\r\n", "\r"]),
    quote=st.booleans(),
    pad=st.sampled_from([0, 0, 13]),
    preamble=st.sampled_from([(), ("# made 2026-01-01",), ("Logger: 3", "")]),
    order=st.permutations(range(6)),
    body=st.lists(st.tuples(*[_numbers] * 5), min_size=3, max_size=12),
)
def test_any_dialect_reads_back(
    marked: tuple[str, str, str],
    coded: tuple[str, bytes],
    line_end: str,
    quote: bool,
    pad: int,
    preamble: tuple[str, ...],
    order: list[int],
    body: list[tuple[float, ...]],
    tmp_path: Path,
) -> None:
    separator, mark, group = marked
    # The first figures prove the marks: one that is no thousand, one that is grouped.
    rows = [(i / 10, *r) for i, r in enumerate([(0.05, 1234.5, 2.5, 0.1, 12345.6789), *body])]
    dialect = Dialect(
        separator, mark, group, line_end, coded[0], coded[1], quote and separator != " ",
        pad if separator != " " else 16, preamble,
    )  # fmt: skip
    shuffled = [[r[i] for i in order] for r in rows]
    log = read(tmp_path, written(shuffled, dialect, header=[HEADER[i] for i in order]))
    assert log.n_rows == len(rows)
    expected = dict(zip(("time", "voltage", "current", "power", "torque", "speed"),
                        np.array(rows).T, strict=True))  # fmt: skip
    np.testing.assert_allclose(log.recording.time_s, expected["time"], atol=1e-9)
    for name in ("voltage", "current", "power", "torque"):
        got = log.recording.channels[Channel(name)]
        np.testing.assert_allclose(got, expected[name].astype(np.float32), rtol=1e-6)
    speed = log.recording.channels[Channel.SPEED]
    np.testing.assert_allclose(speed, expected["speed"] * 2 * np.pi / 60, rtol=1e-6, atol=1e-9)
