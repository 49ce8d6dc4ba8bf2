"""The bytes of a log as text: encoding, line ends, and what is no text at all."""

from __future__ import annotations

import codecs
import contextlib
import os
import re
import tempfile
from collections.abc import Iterator
from dataclasses import dataclass, replace
from pathlib import Path

from server.errors import Problem, TooLarge, UnusableLog
from server.intake.limits import ReadLimits
from server.intake.sheet import ZIP_START, SheetRead
from server.intake.sheets_kept import sheet_text

HEAD_BYTES = 1 << 18
_PROBES = 8
_FEW_ODD_BYTES = 3
_PROBE_BYTES = 4096

_SHEET = "Save the sheet as CSV and send that."
_MAGIC = (
    (b"PK\x03\x04", "a zipped file", "Unpack it and send the log inside."),
    (b"\xd0\xcf\x11\xe0", "an old spreadsheet file (XLS)", _SHEET),
    (b"%PDF", "a PDF", "Export the readings as CSV from the logger's program."),
    (b"\x89PNG", "a picture", "Send the readings as CSV."),
    (b"\xff\xd8\xff", "a picture", "Send the readings as CSV."),
    (b"GIF8", "a picture", "Send the readings as CSV."),
    (b"RIFF", "a sound or video file", "Send the readings as CSV."),
    (b"\x1f\x8b", "a compressed file", "Unpack it and send the CSV inside."),
    (b"BZh", "a compressed file", "Unpack it and send the CSV inside."),
    (b"7z\xbc\xaf", "a compressed file", "Unpack it and send the CSV inside."),
    (b"\xfd7zXZ", "a compressed file", "Unpack it and send the CSV inside."),
    (b"(\xb5/\xfd", "a compressed file", "Unpack it and send the CSV inside."),
    (b"SQLite format 3", "a database", "Export the readings as CSV."),
    (b"PAR1", "a Parquet file", "Export the readings as CSV."),
    (b"TDSm", "a binary recording (TDMS)", "Export the readings as CSV."),
    (b"\x7fELF", "a program", "Send the readings as CSV."),
)
_OLE = b"\xd0\xcf\x11\xe0"
_ENCRYPTED = "EncryptedPackage".encode("utf-16-le")
_LONE_CR = re.compile(rb"\r(?!\n)")
_MARKUP = (b"<!doctype", b"<html", b"<?xml", b"{\\rtf", b"<svg")


@dataclass(frozen=True, slots=True)
class Text:
    """A log as bytes that are ASCII-compatible, lines ended by LF or CRLF.

    `head` is the decoded start (whole lines), `probes` whole lines from further on.
    """

    path: Path
    n_bytes: int
    bom_bytes: int
    encoding: str
    line_end: str
    head: str
    is_whole: bool
    probes: tuple[str, ...]
    sheet: SheetRead | None = None


@contextlib.contextmanager
def open_text(
    path: Path, *, name: str, limits: ReadLimits, sheet: str | None = None
) -> Iterator[Text]:
    """Find encoding and line ends; what polars can't read as it stands is rewritten once.

    `sheet`: which one of a workbook; a log that is text has none.
    """
    n_bytes = path.stat().st_size
    if n_bytes > limits.max_bytes:
        raise TooLarge(
            f"{name} has {n_bytes:,} bytes; the limit is {limits.max_bytes:,} "
            "(BENCHLEDGER_MAX_UPLOAD_BYTES). Thin it out or split it."
        )
    with path.open("rb") as file:
        start = file.read(HEAD_BYTES)
    if start.startswith(ZIP_START):
        with _opened_sheet(path, name=name, sheet=sheet) as made:
            yield made
        return
    refuse_what_is_no_text(start, name)
    encoding, bom_bytes = _encoding(start)
    body = start[bom_bytes:]
    wide = encoding.startswith("utf-16")
    if not wide and not _LONE_CR.search(body[:-1]):
        yield _text(path, n_bytes, bom_bytes, encoding)
        return
    line_end = None if wide else "CR" if b"\n" not in body else "mixed"
    handle, temporary = tempfile.mkstemp(prefix="benchledger-", suffix=".txt")
    os.close(handle)
    try:
        _rewrite(path, Path(temporary), encoding=encoding, bom_bytes=bom_bytes, name=name)
        made = _text(Path(temporary), Path(temporary).stat().st_size, 0, encoding)
        yield Text(
            made.path, made.n_bytes, 0, encoding, line_end or made.line_end,
            made.head, made.is_whole, made.probes,
        )  # fmt: skip
    finally:
        Path(temporary).unlink(missing_ok=True)


@contextlib.contextmanager
def _opened_sheet(path: Path, *, name: str, sheet: str | None) -> Iterator[Text]:
    """A sheet of a workbook, written out as text for as long as it is read."""
    with tempfile.TemporaryDirectory(prefix="benchledger-") as folder:
        written = Path(folder) / "sheet.txt"
        read = sheet_text(path, written, name=name, sheet=sheet)
        if not written.stat().st_size:
            problem = Problem(f"sheet “{read.name}” is empty.", "Choose the one with the readings.")
            raise UnusableLog(name, [problem])
        made = _text(written, written.stat().st_size, 0, "utf-8")
        yield replace(made, sheet=read)


def refuse_what_is_no_text(start: bytes, name: str) -> None:
    """Raise UnusableLog for a file that is empty, or that is plainly something else."""
    if not start.strip(b"\xef\xbb\xbf\xff\xfe \t\r\n\x00"):
        problem = Problem("the file is empty.", "Send the log with its readings.")
        raise UnusableLog(name, [problem])
    if start.startswith(_OLE) and _ENCRYPTED in start:
        problem = Problem("the sheet is protected by a password.", f"Take it off. {_SHEET}")
        raise UnusableLog(name, [problem])
    for magic, what, remedy in _MAGIC:
        if start.startswith(magic):
            raise UnusableLog(name, [Problem(f"not delimited text: this is {what}.", remedy)])
    if start.lstrip(b"\xef\xbb\xbf \t\r\n")[:64].lower().startswith(_MARKUP):
        problem = Problem(
            "not delimited text: this is a marked-up document.", "Export the readings as CSV."
        )
        raise UnusableLog(name, [problem])
    if _encoding(start)[0].startswith("utf-16"):
        return
    sample = start[:65536]
    odd = sum(sample.count(bytes([b])) for b in range(32) if b not in (9, 10, 12, 13, 26, 27))
    if odd > max(len(sample) // 1000, _FEW_ODD_BYTES):
        problem = Problem(
            "not delimited text: the file holds binary data.",
            "Export the readings as CSV from the logger's program.",
        )
        if odd == sample.count(0):
            problem = Problem(
                "the file holds zero bytes, which are no text.",
                "A logger that lost power leaves them behind: delete them and the row they cut.",
                row=sample[: sample.index(0)].count(b"\n") + 1,
            )
        raise UnusableLog(name, [problem])


def _encoding(start: bytes) -> tuple[str, int]:
    """Encoding and length of the byte order mark: BOM, then zeros, then UTF-8, then cp1252."""
    if start.startswith(codecs.BOM_UTF8):
        return "utf-8", 3
    if start.startswith(codecs.BOM_UTF16_LE):
        return "utf-16-le", 2
    if start.startswith(codecs.BOM_UTF16_BE):
        return "utf-16-be", 2
    sample = start[:4096]
    even, odd = sample[0::2].count(0), sample[1::2].count(0)
    # Plain figures in UTF-16 have a zero in every other byte.
    if odd > len(sample) * 0.35 and even < len(sample) * 0.02:
        return "utf-16-le", 0
    if even > len(sample) * 0.35 and odd < len(sample) * 0.02:
        return "utf-16-be", 0
    try:
        codecs.getincrementaldecoder("utf-8")().decode(start, final=False)
    except UnicodeDecodeError:
        return "cp1252", 0
    return "utf-8", 0


def decode(raw: bytes) -> str:
    """UTF-8, though a byte of it be damaged, else cp1252, else Latin-1, which takes every byte."""
    with contextlib.suppress(UnicodeDecodeError):
        return raw.decode("utf-8")
    text = raw.decode("utf-8", errors="replace")
    n_damaged = text.count("\ufffd")
    if sum(1 for c in text if ord(c) > 127) > 2 * n_damaged:
        return text
    with contextlib.suppress(UnicodeDecodeError):
        return raw.decode("cp1252")
    return raw.decode("latin-1")


def lines_of(text: str) -> list[str]:
    """Lines as the fast reader counts them: LF ends one, nothing else does."""
    lines = [line.rstrip("\r") for line in text.split("\n")]
    return lines if lines[-1] else lines[:-1]


def _text(path: Path, n_bytes: int, bom_bytes: int, encoding: str) -> Text:
    with path.open("rb") as file:
        file.seek(bom_bytes)
        head = file.read(HEAD_BYTES)
        is_whole = bom_bytes + len(head) >= n_bytes
        if not is_whole:
            head = head[: head.rfind(b"\n") + 1] or head
        probes: list[str] = []
        for i in range(0 if is_whole else _PROBES):
            file.seek(len(head) + (n_bytes - len(head) - _PROBE_BYTES) * (i + 1) // _PROBES)
            piece = file.read(_PROBE_BYTES)
            probes += lines_of(decode(piece[piece.find(b"\n") + 1 : piece.rfind(b"\n")]))
    n_crlf, n_lf = head.count(b"\r\n"), head.count(b"\n")
    line_end = "LF" if n_crlf == 0 else "CRLF" if n_crlf == n_lf else "mixed"
    return Text(path, n_bytes, bom_bytes, encoding, line_end, decode(head), is_whole, tuple(probes))


def _rewrite(path: Path, target: Path, *, encoding: str, bom_bytes: int, name: str) -> None:
    """UTF-16 to UTF-8, and every line end to LF. Other encodings keep their bytes."""
    is_wide = encoding.startswith("utf-16")
    decoder = codecs.getincrementaldecoder(encoding if is_wide else "latin-1")(errors="strict")
    with path.open("rb") as source, target.open("wb") as sink:
        source.seek(bom_bytes)
        after_cr = False
        while raw := source.read(1 << 22):
            try:
                text = decoder.decode(raw)
            except UnicodeDecodeError as error:
                problem = Problem(f"the text is damaged ({error.reason}).", "Export the log again.")
                raise UnusableLog(name, [problem]) from error
            if after_cr and text.startswith("\n"):
                text = text[1:]
            after_cr = text.endswith("\r")
            text = text.replace("\r\n", "\n").replace("\r", "\n")
            sink.write(text.encode("utf-8" if is_wide else "latin-1"))
