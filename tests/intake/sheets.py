"""Workbooks made on purpose: good ones, and ones that are meant to do harm."""

from __future__ import annotations

import io
import zipfile
from collections.abc import Mapping, Sequence
from typing import Any

from openpyxl import Workbook


def workbook(
    rows: Sequence[Sequence[Any]], *, more: Mapping[str, Sequence[Sequence[Any]]] | None = None,
    title: str = "Log",
) -> bytes:  # fmt: skip
    book = Workbook()
    sheet = book.active
    assert sheet is not None
    sheet.title = title
    for row in rows:
        sheet.append(list(row))
    for name, others in (more or {}).items():
        extra = book.create_sheet(name)
        for row in others:
            extra.append(list(row))
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


def with_part(book: bytes, path: str, content: bytes) -> bytes:
    """The workbook with one part put in or replaced."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(book)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for name in old.namelist():
            if name != path:
                new.writestr(name, old.read(name))
        new.writestr(path, content)
    return out.getvalue()


def part_of(book: bytes, path: str) -> bytes:
    with zipfile.ZipFile(io.BytesIO(book)) as archive:
        return archive.read(path)


def log_rows(text: str) -> list[list[Any]]:
    """A comma-separated log as cells: numbers as numbers."""
    return [[_cell(cell) for cell in line.split(",")] for line in text.splitlines()]


def _cell(text: str) -> Any:
    try:
        return float(text)
    except ValueError:
        return text
