"""The parts of a workbook before any is parsed: how large, what they hold, which sheets."""

from __future__ import annotations

import posixpath
import re
import zipfile
import zlib
from collections.abc import Mapping
from dataclasses import dataclass

from server.errors import Problem, TooLarge, UnusableLog

MOST_PARTS = 2_000
MOST_SHEET_BYTES = 256 << 20
# Words, styles and what else comes beside the cells; all of it is held in memory.
MOST_OTHER_BYTES = 48 << 20
_BLOCK = 1 << 20
_OVERLAP = 64
_DECLARES = re.compile(rb"<!(?:DOCTYPE|ENTITY)", re.IGNORECASE)
# A document type in a wide encoding; a part in one is refused all the same.
_WIDE = (b"\xff\xfe", b"\xfe\xff", b"<\x00", b"\x00<")
_NUMBERS = re.compile(rb"<(?:\w+:)?v>")
_WORDS = re.compile(rb't="(?:s|str|inlineStr|e)"')
_FORMULA = re.compile(rb"<(?:\w+:)?f[ >/]")
_UNSAVED = re.compile(
    rb"(?:</(?:\w+:)?f>|<(?:\w+:)?f(?: [^<>]*)?/>)\s*(?:<(?:\w+:)?v\s*/>|<v></v>|</(?:\w+:)?c>)"
)
_AS_TEXT = "Save the sheet as CSV and send that."
_BOOK = "xl/workbook.xml"


@dataclass(frozen=True, slots=True)
class Part:
    n_bytes: int
    n_numbers: int
    n_formulas: int
    n_unsaved: int


@dataclass(frozen=True, slots=True)
class SheetPart:
    name: str
    path: str
    n_numbers: int


def look_at_parts(archive: zipfile.ZipFile, *, name: str) -> dict[str, Part]:
    """Unpack every part once, keeping nothing. Raises UnusableLog, TooLarge."""
    infos = archive.infolist()
    if len(infos) > MOST_PARTS:
        raise TooLarge(f"{name} holds {len(infos):,} parts; a sheet has some dozens. {_AS_TEXT}")
    names = {info.filename for info in infos}
    _check_kind(archive, names, name=name)
    n_sheets = n_other = 0
    parts = {}
    for info in infos:
        if info.flag_bits & 1:
            raise UnusableLog(name, [_protected()])
        is_sheet = info.filename.startswith("xl/worksheets/")
        room = MOST_SHEET_BYTES - n_sheets if is_sheet else MOST_OTHER_BYTES - n_other
        part = _look(archive, info, room=room, name=name)
        if is_sheet:
            n_sheets += part.n_bytes
        else:
            n_other += part.n_bytes
        parts[info.filename] = part
    return parts


def _check_kind(archive: zipfile.ZipFile, names: set[str], *, name: str) -> None:
    if _BOOK in names:
        return
    what = "a zipped file"
    if "mimetype" in names:
        with archive.open("mimetype") as file:
            is_document = file.read(64).startswith(b"application/vnd.oasis.opendocument")
        what = "a sheet in the OpenDocument format (ODS)" if is_document else what
    elif any(one.startswith(("word/", "ppt/")) for one in names):
        what = "a text document or slides"
    elif "xl/workbook.bin" in names:
        what = "a binary sheet (XLSB)"
    remedy = "Unpack it and send the log inside." if what == "a zipped file" else _AS_TEXT
    raise UnusableLog(name, [Problem(f"not delimited text: this is {what}.", remedy)])


def _protected() -> Problem:
    return Problem("the sheet is protected by a password.", f"Take it off. {_AS_TEXT}")


def _look(archive: zipfile.ZipFile, info: zipfile.ZipInfo, *, room: int, name: str) -> Part:
    is_xml = info.filename.endswith((".xml", ".rels", ".vml"))
    counts = {"numbers": 0, "words": 0, "formulas": 0, "unsaved": 0}
    n_bytes, tail = 0, b""
    try:
        with archive.open(info) as file:
            while block := file.read(_BLOCK):
                if is_xml and n_bytes == 0 and block.startswith(_WIDE):
                    raise UnusableLog(name, [_odd_xml(info.filename)])
                n_bytes += len(block)
                if n_bytes > room:
                    raise TooLarge(
                        f"{name} unpacks to more than {n_bytes - len(block):,} bytes in "
                        f"{info.filename}; a sheet may have {MOST_SHEET_BYTES:,}. {_AS_TEXT}"
                    )
                if is_xml:
                    _count(counts, tail, block, name=name, part=info.filename)
                    tail = (tail + block)[-_OVERLAP:]
    except (zlib.error, zipfile.BadZipFile, EOFError, OSError) as error:
        raise UnusableLog(
            name,
            [Problem(f"the file is damaged ({error}).", f"Save it anew. {_AS_TEXT}")],
        ) from error
    n_numbers = max(counts["numbers"] - counts["words"], 0)
    return Part(n_bytes, n_numbers, counts["formulas"], counts["unsaved"])


def _count(counts: dict[str, int], tail: bytes, block: bytes, *, name: str, part: str) -> None:
    """Count what ends in this block: a match that ended in the tail was counted before."""
    both = tail + block
    if _DECLARES.search(both):
        raise UnusableLog(name, [_odd_xml(part)])
    patterns = {"numbers": _NUMBERS, "words": _WORDS, "formulas": _FORMULA, "unsaved": _UNSAVED}
    for word, pattern in patterns.items():
        counts[word] += sum(1 for found in pattern.finditer(both) if found.end() > len(tail))


def _odd_xml(part: str) -> Problem:
    return Problem(
        f"{part} declares a document type, which no sheet needs.", f"Save it anew. {_AS_TEXT}"
    )


def list_sheets(
    archive: zipfile.ZipFile, parts: Mapping[str, Part], *, name: str
) -> tuple[SheetPart, ...]:
    """The worksheets in their order. Parts have been looked at, so parsing them is safe."""
    from defusedxml.ElementTree import ParseError, fromstring

    try:
        book = fromstring(archive.read(_BOOK))
        rels = fromstring(archive.read("xl/_rels/workbook.xml.rels"))
    except (ParseError, KeyError, ValueError) as error:
        problem = Problem(f"the list of its sheets can't be read ({error}).", _AS_TEXT)
        raise UnusableLog(name, [problem]) from error
    targets = {
        str(one.get("Id")): posixpath.normpath(posixpath.join("/xl", one.get("Target", "")))[1:]
        for one in rels
        if str(one.get("Type", "")).endswith("/worksheet")
    }
    found = []
    for one in book.iter():
        if one.tag.rpartition("}")[2] != "sheet":
            continue
        key = next((v for k, v in one.attrib.items() if k.rpartition("}")[2] == "id"), "")
        path = targets.get(key, "")
        if path in parts and one.get("name"):
            found.append(SheetPart(str(one.get("name")), path, parts[path].n_numbers))
    if not found:
        raise UnusableLog(name, [Problem("there is no sheet with cells in it.", _AS_TEXT)])
    return tuple(found)
