"""XLSX beside text: the same readings give the same recording; what is meant to harm is refused."""

from __future__ import annotations

import io
import resource
import zipfile
from datetime import datetime, time, timedelta
from pathlib import Path

import numpy as np
import pytest
from openpyxl import Workbook

from server.errors import TooLarge, UnusableLog
from server.intake import preview_log, read_log, sheet_parts
from server.intake import sheet as sheet_module
from server.model.words import Channel
from tests.api.logs import small_log
from tests.intake.sheets import log_rows, part_of, with_part, workbook

SHEET = "xl/worksheets/sheet1.xml"
GOOD = workbook(log_rows(small_log()))


def kept(folder: Path, data: bytes, name: str = "run.xlsx") -> Path:
    path = folder / name
    path.write_bytes(data)
    return path


def refusal(folder: Path, data: bytes) -> str:
    path = kept(folder, data)
    for read in (read_log, preview_log):
        with pytest.raises((UnusableLog, TooLarge)) as told:
            read(path, name="run.xlsx")
    return str(told.value)


def test_a_sheet_reads_as_the_same_text_does(tmp_path: Path) -> None:
    text = tmp_path / "run.csv"
    text.write_text(small_log())
    as_text = read_log(text, name="run.csv")
    as_sheet = read_log(kept(tmp_path, GOOD), name="run.xlsx")
    assert as_sheet.n_rows == as_text.n_rows
    for channel, values in as_text.recording.channels.items():
        np.testing.assert_array_equal(as_sheet.recording.channels[channel], values)
    np.testing.assert_array_equal(as_sheet.recording.time_s, as_text.recording.time_s)
    assert as_sheet.dialect["sheet"] == "Log"
    assert "formulas" not in as_sheet.dialect


def test_titles_blank_rows_and_columns_stand_aside(tmp_path: Path) -> None:
    rows = [["Bench of 2 May"], [], [None, "kept by hand"], []]
    rows += [[None, *row] for row in log_rows(small_log())]
    got = preview_log(kept(tmp_path, workbook(rows)), name="run.xlsx")
    assert [c.channel for c in got.columns][:2] == [Channel.TIME, Channel.SPEED]
    assert got.dialect["header_row"] == 5
    assert got.preamble[0].strip() == "Bench of 2 May" or "kept by hand" in str(got.preamble)


def test_the_sheet_with_the_most_numbers_is_read_unless_another_is_chosen(tmp_path: Path) -> None:
    short = log_rows(small_log(dwell_s=1.0))
    book = workbook(
        [["Notes"], ["of", "the", "day"]], more={"Run": log_rows(small_log()), "B": short}
    )
    path = kept(tmp_path, book)
    assert read_log(path, name="x").dialect["sheet"] == "Run"
    assert read_log(path, name="x").dialect["sheets"] == ["Log", "Run", "B"]
    chosen = read_log(path, name="x", sheet="b")
    assert chosen.dialect["sheet"] == "B"
    assert chosen.n_rows == len(short) - 1
    with pytest.raises(UnusableLog, match="there is no sheet “C”"):
        read_log(path, name="x", sheet="C")


def test_dates_and_times_are_clocks(tmp_path: Path) -> None:
    start = datetime(2026, 5, 2, 10, 0, 0)  # noqa: DTZ001  a sheet knows no zones
    for make in (
        lambda i: start + timedelta(milliseconds=500 * i),
        lambda i: (start + timedelta(milliseconds=500 * i)).time(),
        lambda i: timedelta(milliseconds=500 * i),
    ):
        rows = [["time", "speed [rpm]", "torque [N·m]"]]
        rows += [[make(i), 20000 - 100 * i, 0.01 * i] for i in range(30)]
        got = read_log(kept(tmp_path, workbook(rows)), name="run.xlsx")
        np.testing.assert_allclose(got.recording.time_s, np.arange(30) * 0.5, atol=2e-3)
    assert isinstance(make(0), timedelta | time)


def test_formulas_are_read_as_their_saved_values_and_counted(tmp_path: Path) -> None:
    xml = part_of(GOOD, SHEET).replace(b'<c r="C3" t="n"><v>', b'<c r="C3"><f>1+1</f><v>')
    assert xml != part_of(GOOD, SHEET)
    got = read_log(kept(tmp_path, with_part(GOOD, SHEET, xml)), name="x")
    assert got.dialect["formulas"] == 1
    assert "formulas_without_value" not in got.dialect
    rows = log_rows(small_log())
    rows[3][2] = "=C3*1"
    rows[4][2] = '=HYPERLINK("http://x")'
    unsaved = read_log(kept(tmp_path, workbook(rows), "b.xlsx"), name="x")
    assert unsaved.dialect["formulas"] == 2
    assert unsaved.dialect["formulas_without_value"] == 2
    assert np.isnan(unsaved.recording.channels[Channel.TORQUE][2:4]).all()


def test_a_file_with_macros_is_read_for_its_values(tmp_path: Path) -> None:
    book = with_part(GOOD, "xl/vbaProject.bin", b"\xd0\xcf\x11\xe0 Sub Auto_Open()")
    assert read_log(kept(tmp_path, book), name="run.xlsm").n_rows > 100


def test_what_a_file_says_of_its_size_is_not_believed(tmp_path: Path) -> None:
    xml = part_of(GOOD, SHEET).replace(b'<dimension ref="A1:F321"', b'<dimension ref="A1:A2"')
    assert xml != part_of(GOOD, SHEET)
    assert read_log(kept(tmp_path, with_part(GOOD, SHEET, xml)), name="x").n_rows == 320


BOMB = (
    b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY a "' + b"a" * 1000 + b'">'
    b'<!ENTITY b "' + b"&a;" * 1000 + b'"><!ENTITY c "' + b"&b;" * 1000 + b'">]><x>&c;</x>'
)
OUTSIDE = b'<?xml version="1.0"?><!DOCTYPE x [<!ENTITY e SYSTEM "file:///etc/passwd">]><x>&e;</x>'


@pytest.mark.parametrize("bomb", [BOMB, OUTSIDE], ids=["laughs", "outside"])
@pytest.mark.parametrize(
    "part", [SHEET, "xl/workbook.xml", "xl/styles.xml", "xl/sharedStrings.xml",
             "[Content_Types].xml", "xl/_rels/workbook.xml.rels", "docProps/core.xml"]
)  # fmt: skip
def test_no_entity_is_expanded(tmp_path: Path, part: str, bomb: bytes) -> None:
    assert "document type" in refusal(tmp_path, with_part(GOOD, part, bomb))


def test_an_entity_in_a_wide_encoding_is_refused_too(tmp_path: Path) -> None:
    wide = BOMB.decode().encode("utf-16")
    assert "document type" in refusal(tmp_path, with_part(GOOD, SHEET, wide))


def test_a_file_that_unpacks_without_end_is_refused_in_bounded_memory(tmp_path: Path) -> None:
    before = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new:
        with zipfile.ZipFile(io.BytesIO(GOOD)) as old:
            for name in old.namelist():
                if name != "xl/sharedStrings.xml":
                    new.writestr(name, old.read(name))
        with new.open("xl/sharedStrings.xml", "w", force_zip64=True) as part:
            for _ in range(600):
                part.write(bytes(1 << 20))
    assert out.tell() < 2_000_000
    assert "unpacks to more" in refusal(tmp_path, out.getvalue())
    grown_kb = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss - before
    assert grown_kb < 150_000


def test_a_part_larger_than_it_says_is_refused(tmp_path: Path) -> None:
    """Its length in the directory is set back: unpacking stops there, and the sum is wrong."""
    data = bytearray(GOOD)
    at = data.rfind(b"PK\x01\x02", 0, data.rfind(SHEET.encode()))
    data[at + 24 : at + 28] = (100).to_bytes(4, "little")
    assert "damaged" in refusal(tmp_path, bytes(data)) or "read" in refusal(tmp_path, bytes(data))


def test_too_many_cells_and_too_many_parts(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(sheet_module, "MOST_CELLS", 1000)
    assert "more than 1,000 cells" in refusal(tmp_path, GOOD)
    monkeypatch.setattr(sheet_module, "MOST_CELLS", 10**6)
    monkeypatch.setattr(sheet_parts, "MOST_PARTS", 5)
    assert "parts" in refusal(tmp_path, GOOD)


def test_a_cell_far_to_the_right_in_every_row_is_refused(tmp_path: Path) -> None:
    rows = b"".join(
        f'<row r="{i}"><c r="XFD{i}"><v>1</v></c></row>'.encode() for i in range(1, 2000)
    )
    head, _, _ = part_of(GOOD, SHEET).partition(b"<sheetData>")
    xml = head + b"<sheetData>" + rows + b"</sheetData></worksheet>"
    assert "cells" in refusal(tmp_path, with_part(GOOD, SHEET, xml))


def test_a_row_far_below_is_no_endless_loop(tmp_path: Path) -> None:
    xml = part_of(GOOD, SHEET).replace(b'<row r="300">', b'<row r="99999999999">')
    assert read_log(kept(tmp_path, with_part(GOOD, SHEET, xml)), name="x").n_rows == 298


def test_a_sheet_with_a_password_is_refused(tmp_path: Path) -> None:
    ole = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1" + bytes(1000) + "EncryptedPackage".encode("utf-16-le")
    assert "password" in refusal(tmp_path, ole)
    data = bytearray(GOOD)
    at = data.find(b"PK\x01\x02")
    data[at + 8] |= 1
    assert "password" in refusal(tmp_path, bytes(data))


@pytest.mark.parametrize(
    ("parts", "told"),
    [
        ({"log.csv": "t,n\n0,1\n"}, "a zipped file"),
        ({"mimetype": "application/vnd.oasis.opendocument.spreadsheet"}, "OpenDocument"),
        ({"word/document.xml": "<w/>"}, "text document"),
        ({"xl/workbook.bin": "x"}, "XLSB"),
        ({"xl/workbook.xml": "<workbook>"}, "list of its sheets"),
        ({"xl/workbook.xml": "<workbook/>", "xl/_rels/workbook.xml.rels": "<a/>"}, "no sheet"),
    ],
)
def test_what_only_looks_like_a_sheet_is_named(
    tmp_path: Path, parts: dict[str, str], told: str
) -> None:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        for name, content in parts.items():
            archive.writestr(name, content)
    assert told in refusal(tmp_path, out.getvalue())


@pytest.mark.parametrize("share", [0.1, 0.5, 0.9, 0.99])
def test_a_file_cut_off_is_refused(tmp_path: Path, share: float) -> None:
    assert refusal(tmp_path, GOOD[: int(len(GOOD) * share)])


def test_an_empty_sheet_is_named(tmp_path: Path) -> None:
    out = io.BytesIO()
    Workbook().save(out)
    assert "is empty" in refusal(tmp_path, out.getvalue())
