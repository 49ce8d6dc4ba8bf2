"""Clock columns of every make become seconds from the start."""

from pathlib import Path

import numpy as np
import pytest

from server.errors import UnusableLog
from tests.intake.writing import read

CLOCKS = {
    "s": ("Time (s)", ["5.00", "5.25", "7.00"], [0, 0.25, 2]),
    "ms": ("time_ms", ["0", "250", "2000"], [0, 0.25, 2]),
    "ms by name": ("millis", ["100", "350", "2100"], [0, 0.25, 2]),
    "min": ("Zeit [min]", ["0.0", "0.5", "1.0"], [0, 30, 60]),
    "epoch": ("timestamp", ["1767225600.00", "1767225600.25", "1767225602.00"], [0, 0.25, 2]),
    "epoch ms": ("timestamp", ["1767225600000", "1767225600250", "1767225602000"], [0, 0.25, 2]),
    "mm:ss": ("Time", ["00:58.50", "00:58.75", "01:00.50"], [0, 0.25, 2]),
    "mm:ss over the hour": ("Time", ["59:59.50", "59:59.75", "00:01.50"], [0, 0.25, 2]),
    "mm:ss whole": ("Time", ["00:58", "00:59", "01:01"], [0, 1, 3]),
    "hh:mm:ss": ("Time", ["10:00:58", "10:00:59", "10:01:01"], [0, 1, 3]),
    "hh:mm:ss.f": ("Time", ["10:00:58.500", "10:00:58.750", "10:01:00.500"], [0, 0.25, 2]),
    "hh:mm:ss:ms": ("Time", ["10:00:58:500", "10:00:58:750", "10:01:00:500"], [0, 0.25, 2]),
    "h:mm:ss": ("Time", ["9:59:59", "10:00:00", "10:00:02"], [0, 1, 3]),
    "midnight": ("Time", ["23:59:59.5", "23:59:59.75", "00:00:01.5"], [0, 0.25, 2]),
    "am pm": ("Time", ["11:59:59 AM", "12:00:00 PM", "12:00:02 PM"], [0, 1, 3]),
    "ISO": ("t", ["2026-01-01T23:59:59.5", "2026-01-01T23:59:59.75", "2026-01-02T00:00:01.5"],
            [0, 0.25, 2]),
    "ISO Z": ("t", ["2026-01-01T10:00:00.5Z", "2026-01-01T10:00:00.75Z", "2026-01-01T10:00:02.5Z"],
              [0, 0.25, 2]),
    "ISO space": ("t", ["2026-01-01 10:00:00.5", "2026-01-01 10:00:00.75", "2026-01-01 10:00:02.5"],
                  [0, 0.25, 2]),
    "ISO offset that changes": (
        "t", ["2026-03-29T01:59:59+01:00", "2026-03-29T03:00:00+02:00",
              "2026-03-29T03:00:02+02:00"],
        [0, 1, 3]),
    "ISO basic": ("t", ["20260101T100000.5", "20260101T100000.75", "20260101T100002.5"],
                  [0, 0.25, 2]),
    "dotted": ("Datum", ["31.12.2025 23:59:59", "01.01.2026 00:00:00", "01.01.2026 00:00:02"],
               [0, 1, 3]),
    "slashes, month first": ("Time", ["12/31/2025 23:59:59", "1/1/2026 00:00:00",
                                      "1/1/2026 00:00:02"], [0, 1, 3]),
    "year first": ("Time", ["2025/12/31 23:59:59", "2026/01/01 00:00:00", "2026/01/01 00:00:02"],
                   [0, 1, 3]),
    "month named": ("Time", ["31-Dec-2025 23:59:59", "01-Jan-2026 00:00:00",
                             "01-Jan-2026 00:00:02"], [0, 1, 3]),
}  # fmt: skip


@pytest.mark.parametrize("clock", CLOCKS.values(), ids=CLOCKS.keys())
@pytest.mark.parametrize("separator", [",", ";", "\t"])
def test_clock(clock: tuple[str, list[str], list[float]], separator: str, tmp_path: Path) -> None:
    header, cells, seconds = clock
    rows = [[header, "n", "M"], *([c, "100", "2.5"] for c in cells)]
    log = read(tmp_path, "\n".join(separator.join(r) for r in rows) + "\n")
    np.testing.assert_allclose(log.recording.time_s, seconds, atol=1e-6)


def test_decimal_comma_in_a_clock(tmp_path: Path) -> None:
    log = read(tmp_path, "Zeit;n;M\n10:00:00,5;100;2,5\n10:00:00,75;100;2,5\n")
    np.testing.assert_allclose(log.recording.time_s, [0, 0.25])


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    log = read(
        tmp_path,
        "Datum;Uhrzeit;n;M\n31.12.2025;23:59:59,5;1;2\n01.01.2026;00:00:00,5;1;2\n"
        "03.01.2026;00:00:00,5;1;2\n",
    )
    np.testing.assert_allclose(log.recording.time_s, [0, 1, 172801])
    assert "words" in log.recording.notes


def test_a_clock_cell_of_another_make_is_named(tmp_path: Path) -> None:
    with pytest.raises(UnusableLog) as caught:
        read(tmp_path, "Time,n,M\n10:00:00,1,2\n10:00:01,1,2\nnoon,1,2\n10:00:03,1,2\n")
    assert (caught.value.problems[0].row, caught.value.problems[0].column) == (4, "Time")


def test_a_long_log_of_clock_times(tmp_path: Path) -> None:
    cells = [f"{h:02d}:{m:02d}:{s:02d}.{f}" for h in (22, 23, 0, 1) for m in range(60)
             for s in range(60) for f in (0, 5)]  # fmt: skip
    body = "".join(f"{c},100,2.5\n" for c in cells)
    time = read(tmp_path, "Time,n,M\n" + body).recording.time_s
    np.testing.assert_allclose(time, np.arange(len(cells)) / 2)


def test_time_from_an_interval_stated_above_the_header(tmp_path: Path) -> None:
    for line, step in (
        ("# sample interval: 10 ms", 0.01), ("Sampling rate = 200 Hz", 0.005),
        ("Abtastrate: 50 Hz", 0.02), ("Log interval;0,5;s", 0.5), ("sample period 0,25 s", 0.25),
    ):  # fmt: skip
        text = f"{line}\nn,M\n100,2.5\n110,2.6\n"
        log = read(tmp_path, text)
        np.testing.assert_allclose(log.recording.time_s, [0, step])
        assert log.recording.notes["time_from_interval"]


def test_shifting_the_clock_shifts_nothing(tmp_path: Path) -> None:
    def at(start: float) -> np.ndarray:
        body = "".join(f"{start + i / 8:.3f},100,{2 + i}\n" for i in range(10))
        return read(tmp_path, "t,n,M\n" + body).recording.time_s

    np.testing.assert_allclose(at(0.0), at(86_400.0), atol=1e-9)
