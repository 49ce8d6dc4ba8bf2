"""Which lines and bytes of a stored file some of its rows are, counted when they are asked for."""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from server.model.measured import JsonValue

# Counting lines of a file of this size takes about a tenth of a second.
MOST_COUNTED_BYTES = 32 << 20
# What a line without any reading consists of.
_NOTHING = b' \t\r\n\x00,;|"'


@dataclass(frozen=True, slots=True)
class FileLines:
    """Lines of a file, counted from 1, and the bytes they are, counted from 0: first to end
    (exclusive)."""

    first_line: int
    last_line: int
    first_byte: int
    end_byte: int


def locate_rows(
    path: Path,
    *,
    dialect: Mapping[str, JsonValue],
    n_rows: int,
    spans: Sequence[tuple[int, int]],
) -> tuple[FileLines, ...] | None:
    """The lines of some rows (first and last, from 0), one for each span.

    None where the file's lines are not the rows one by one (lines left out, cells over several
    lines), and where there are too many to count.
    """
    if path.stat().st_size > MOST_COUNTED_BYTES or "sheet" in dialect:
        return None
    first_row = dialect.get("first_row")
    if not isinstance(first_row, int):
        return None
    wanted = {row for span in spans for row in span}
    places: dict[int, tuple[int, int, int]] = {}
    row = at = 0
    for number, line in enumerate(_lines(path, dialect), start=1):
        if number >= first_row and line.strip(_NOTHING):
            if row in wanted:
                places[row] = (number, at, at + len(line))
            row += 1
        at += len(line)
    # A last line that was cut off is no row.
    if row not in (n_rows, n_rows + 1) or not wanted <= set(places):
        return None
    return tuple(
        FileLines(places[first][0], places[last][0], places[first][1], places[last][2])
        for first, last in spans
    )


def read_lines(
    path: Path, *, dialect: Mapping[str, JsonValue], first_line: int, last_line: int, limit: int
) -> bytes | None:
    """The bytes of some lines (from 1, both ends in). None: no such lines, or over `limit`."""
    found: list[bytes] = []
    n_bytes = 0
    if "sheet" in dialect or not 1 <= first_line <= last_line:
        return None
    if path.stat().st_size > MOST_COUNTED_BYTES:
        return None
    for number, line in enumerate(_lines(path, dialect), start=1):
        if number > last_line:
            break
        if number >= first_line:
            found.append(line)
            n_bytes += len(line)
            if n_bytes > limit:
                return None
    return b"".join(found) if len(found) == last_line - first_line + 1 else None


def lines_from(path: Path, *, dialect: Mapping[str, JsonValue], first_line: int) -> Iterator[bytes]:
    """The lines from one on (from 1), with their ends."""
    for number, line in enumerate(_lines(path, dialect), start=1):
        if number >= first_line:
            yield line


def _lines(path: Path, dialect: Mapping[str, JsonValue]) -> Iterator[bytes]:
    """Lines with their ends, as the reader of logs counts them."""
    encoding = str(dialect.get("encoding") or "utf-8")
    is_wide = encoding.startswith("utf-16")
    if not is_wide and dialect.get("line_end") not in ("CR", "mixed"):
        with path.open("rb") as file:
            yield from file
        return
    # Latin-1 keeps every byte as it is; only the line ends matter.
    kept = encoding if is_wide else "latin-1"
    with path.open(encoding=kept, errors="replace", newline="") as text:
        for line in text:
            yield line.encode(kept, errors="replace")
