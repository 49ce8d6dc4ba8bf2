"""A log in pieces of whole lines, and what makes a piece readable at once."""

from __future__ import annotations

import re
from collections.abc import Iterator
from typing import BinaryIO

from server.errors import Problem
from server.intake.dialect import Dialect, split_line
from server.intake.text import Text, decode

MOST_RAGGED = 10  # rows named
_PIECE_BYTES = 1 << 24
_COMMENT_SIGNS = (b"#", b"%", b"//", b"!")


def pieces(text: Text, dialect: Dialect, *, end: int) -> Iterator[tuple[int, bytes]]:
    """(line of the file from 1, bytes) of whole lines."""
    with text.path.open("rb") as file:
        file.seek(text.bom_bytes)
        for _ in range(dialect.first_line):
            file.readline()
        line = dialect.first_line + 1
        while piece := _next_piece(file, end):
            yield line, piece
            line += piece.count(b"\n")


def _next_piece(file: BinaryIO, end: int) -> bytes:
    left = end - file.tell()
    if left <= 0:
        return b""
    piece = file.read(min(_PIECE_BYTES, left))
    if file.tell() < end and not piece.endswith(b"\n"):
        piece += file.readline()
    return piece


def tidy_lines(raw: bytes, dialect: Dialect) -> bytes:
    """A piece with one kind of line end, no comment lines and no padding before separators.

    Lines keep their number: a comment becomes an empty line. Plain replacements, since they run
    at the speed of memory and regular expressions don't.
    """
    if not raw.isascii():
        raw = decode(raw).encode()
    if b"\r" in raw:
        while b"\r\r" in raw:
            raw = raw.replace(b"\r\r", b"\r")
        raw = raw.replace(b"\r\n", b"\n").replace(b"\r", b"\n")
    if any(sign in raw for sign in _COMMENT_SIGNS):
        raw = re.sub(rb"(?m)^[ \t]*(?:#|%|//|!)[^\n]*", b"", raw)
    separator = dialect.separator.encode()
    if separator == b" ":
        raw = _without_runs(raw.replace(b"\t", b" "), b" ")
        return raw.replace(b"\n ", b"\n").replace(b" \n", b"\n").strip(b" ")
    if b" " not in raw:
        return raw
    return _without_runs(_without_runs(raw, separator), b"\n")


def _without_runs(raw: bytes, before: bytes) -> bytes:
    """Spaces before a separator or line end taken away, the longest runs first."""
    for n in (16, 4, 1):
        run = b" " * n + before
        while run in raw:
            raw = raw.replace(run, before)
    return raw


def without_bare_rows(raw: bytes, dialect: Dialect) -> bytes:
    """Rows of nothing but separators emptied; spreadsheets leave them, of any width."""
    sign = re.escape(dialect.separator.encode())
    return re.sub(rb"(?m)^(?:" + sign + rb"|[ \t])+$", b"", raw)


def ragged_rows(raw: bytes, line: int, dialect: Dialect) -> list[Problem]:
    """The first rows whose width differs, each named."""
    separator = dialect.separator.encode()
    problems: list[Problem] = []
    for number, row in enumerate(raw.split(b"\n"), start=line):
        if row.count(separator) == dialect.width - 1 or not row.strip():
            continue
        width = len(split_line(decode(row), dialect.separator))
        if width == dialect.width:
            continue
        problems.append(
            Problem(
                f"this row has {width} {'column' if width == 1 else 'columns'}, "
                f"the others have {dialect.width}.",
                "Every row needs the same number of columns; leave cells blank rather than out.",
                row=number,
            )
        )
        if len(problems) == MOST_RAGGED:
            break
    return problems


def unclosed_quote(raw: bytes, line: int) -> Problem:
    """The first row that opens a quotation mark and does not close it, named."""
    numbered = enumerate(raw.split(b"\n"), start=line)
    row = next((n for n, text in numbered if text.count(b'"') % 2), line)
    return Problem(
        "this row can't be read: a quotation mark is opened and not closed.",
        "Close or remove it.",
        row=row,
    )
