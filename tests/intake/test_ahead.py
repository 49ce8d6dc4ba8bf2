"""A log read while it arrives gives the recording that it gives when it is read whole."""

from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import HealthCheck, example, given, settings
from hypothesis import strategies as st

from server.errors import Unusable
from server.intake import ReadAhead, ReadingAhead, ReadLimits, read_log, recording_digest
from server.model.bench import ColumnChoice
from server.model.words import Channel, RunKind
from tests.intake.test_dialects import DIALECTS
from tests.intake.writing import HEADER, Dialect, written

PIECE = 1 << 10
LIMITS = ReadLimits()
MANY = [
    [0.1 * i, 230.0 + 0.25 * (i % 3), 1.5 + i, 300.0 + i, 0.5 + 0.125 * i, 21_500.0 - 7 * i]
    for i in range(400)
]


def followed(
    path: Path, data: bytes, *, block: int = 700, piece: int = PIECE, limits: ReadLimits = LIMITS
) -> ReadAhead | None:
    """Write `data` in blocks, and read ahead behind each."""
    path.write_bytes(b"")
    reading = ReadingAhead(path, limits, piece_bytes=piece)
    with path.open("ab", buffering=0) as file:
        for at in range(0, len(data), block):
            file.write(data[at : at + block])
            reading.advance(min(at + block, len(data)))
    return reading.finish(len(data))


def answer(path: Path, ahead: ReadAhead | None, choices: tuple[ColumnChoice, ...] = ()) -> object:
    """All that comes of a log, refusals too."""
    try:
        log = read_log(path, name="log.csv", choices=choices, kind=RunKind.FLUID, ahead=ahead)
    except Unusable as refusal:
        return refusal.problems
    notes = dict(log.recording.notes)
    return recording_digest(log.recording), notes, log.columns, log.dialect, log.n_rows


@pytest.mark.parametrize("dialect", DIALECTS.values(), ids=DIALECTS.keys())
def test_every_dialect(dialect: Dialect, tmp_path: Path) -> None:
    path, data = tmp_path / "log.csv", written(MANY, dialect)
    ahead = followed(path, data)
    assert answer(path, ahead) == answer(path, None)


@pytest.mark.parametrize("name", ["semicolon, decimal comma", "CRLF", "comment lines", "tab"])
def test_plain_figures_are_read_ahead_to_the_end(name: str, tmp_path: Path) -> None:
    path, data = tmp_path / "log.csv", written(MANY, DIALECTS[name])
    ahead = followed(path, data)
    assert ahead is not None
    assert ahead.end == len(data)
    assert ahead.n_lines == pytest.approx(data.count(b"\n"), rel=0.2)
    assert len(ahead.columns.result()[0]) == len(MANY)


_ODD = (
    b"\n", b"\r\n", b"   \n", b",,,,,\n", b"0.5,1,2\n", b"0.5,1,2,3,4,5,6\n", b"# a note\n",
    b'0.5,"1",2,3,4,5\n', b'0.5,1",2,3,4,5\n', b"0.5,OL,2,3,4,5\n", b"0.5,,2,3,4,\n",
    b"\xff\xfe,1,2,3,4,5\n", b"0.5, 1,2,3,4 ,5\n", b"\x00\x00", b"0.5,1,2", b"0.5,1,2,3,4,5",
    b"1e400,1e39,-inf,nan,4,5\n", b"\r", b"0,5;1\n",
)  # fmt: skip


@settings(
    max_examples=150, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    block=st.integers(1, 3000),
    piece=st.integers(60, 4000),
    odd=st.lists(st.tuples(st.integers(0, 400), st.sampled_from(_ODD)), max_size=3),
    cut=st.integers(0, 40),
)
@example(block=512, piece=600, odd=[(200, b"\n")], cut=0)
def test_any_piece_and_any_line(
    block: int, piece: int, odd: list[tuple[int, bytes]], cut: int, tmp_path: Path
) -> None:
    lines = written(MANY, Dialect()).splitlines(keepends=True)
    for at, line in odd:
        lines.insert(1 + at, line)
    data = b"".join(lines)
    data = data[: len(data) - cut]
    path = tmp_path / "log.csv"
    ahead = followed(path, data, block=max(block, 40), piece=piece)
    assert answer(path, ahead) == answer(path, None)


@pytest.mark.parametrize(
    "choice",
    [
        ColumnChoice("I [A]", Channel.TIME, "s"),
        ColumnChoice("I [A]", None, None),
        ColumnChoice("U [V]", Channel.CURRENT, "mA"),
    ],
    ids=lambda c: f"{c.header} is {c.channel}",
)
def test_the_sender_overrules_what_was_read(choice: ColumnChoice, tmp_path: Path) -> None:
    path, data = tmp_path / "log.csv", written(MANY, Dialect())
    ahead = followed(path, data)
    assert ahead is not None
    assert answer(path, ahead, (choice,)) == answer(path, None, (choice,))


def test_columns_read_ahead_are_the_ones_used(tmp_path: Path) -> None:
    path, data = tmp_path / "log.csv", written(MANY, Dialect())
    ahead = followed(path, data)
    assert ahead is not None
    other = written([[*row[:-1], 0.0] for row in MANY], Dialect())
    theirs = followed(tmp_path / "other.csv", other)
    assert theirs is not None
    shorter = replace(theirs, end=ahead.end - 1)
    assert answer(path, shorter) == answer(path, None)
    swapped = replace(theirs, end=ahead.end)
    assert answer(path, swapped) != answer(path, ahead)
    assert not theirs.columns.result()  # held no longer
    assert not ahead.columns.result()


def half_read(path: Path) -> tuple[ReadingAhead, int]:
    """A reading that has come to the middle of a file, and the file's length."""
    data = written(MANY, Dialect())
    path.write_bytes(data)
    reading = ReadingAhead(path, LIMITS, piece_bytes=PIECE)
    reading.advance(len(data) // 2)
    return reading, len(data)


def test_a_reading_that_is_stopped_is_not_used(tmp_path: Path) -> None:
    reading, n_bytes = half_read(tmp_path / "log.csv")
    reading.stop()
    assert reading.finish(n_bytes) is None


def test_what_can_no_longer_be_read_is_said_where_it_is_taken(tmp_path: Path) -> None:
    path = tmp_path / "log.csv"
    reading, n_bytes = half_read(path)
    path.unlink()
    ahead = reading.finish(n_bytes)
    assert ahead is not None
    with pytest.raises(FileNotFoundError):
        ahead.take(ahead.way, end=n_bytes)


def test_no_more_rows_than_allowed_are_held(tmp_path: Path) -> None:
    path, data = tmp_path / "log.csv", written(MANY, Dialect())
    for most, n_held in ((len(MANY), len(MANY)), (len(MANY) - 1, 0)):
        ahead = followed(path, data, limits=ReadLimits(max_rows=most))
        columns = ahead.take(ahead.way, end=len(data)) if ahead is not None else None
        assert len(columns[0] if columns else []) == n_held


def test_a_file_smaller_than_a_piece_is_left_for_later(tmp_path: Path) -> None:
    data = written(MANY, Dialect())
    assert followed(tmp_path / "log.csv", data, piece=len(data) + 1) is None


def test_what_is_no_log_is_left_for_later(tmp_path: Path) -> None:
    header = ",".join(HEADER).encode()
    for data in (b"PK\x03\x04" + bytes(5000), b"\n" * 5000, b"no figures here\n" * 500, header):
        assert followed(tmp_path / "log.csv", data) is None
