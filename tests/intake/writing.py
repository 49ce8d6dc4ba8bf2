"""Logs written on purpose in one dialect or another, for the reader to read back."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from server.intake import read_log
from server.model.recording import LogRead
from server.model.words import RunKind

HEADER = ("t [s]", "U [V]", "I [A]", "P [W]", "M [N·m]", "n [1/min]")


@dataclass(frozen=True)
class Dialect:
    separator: str = ","
    mark: str = "."
    group: str = ""
    line_end: str = "\n"
    encoding: str = "utf-8"
    bom: bytes = b""
    quote: bool = False
    pad: int = 0
    preamble: tuple[str, ...] = ()
    final_newline: bool = True
    trailing_separator: bool = False
    blank_lines_at_end: int = 0


def figure(value: float, dialect: Dialect, digits: int = 4) -> str:
    text = f"{value:,.{digits}f}" if dialect.group else f"{value:.{digits}f}"
    text = text.replace(",", "\0").replace(".", dialect.mark).replace("\0", dialect.group)
    if dialect.pad:
        text = text.rjust(dialect.pad)
    return f'"{text}"' if dialect.quote else text


def written(
    rows: Sequence[Sequence[float]],
    dialect: Dialect,
    *,
    header: Sequence[str] = HEADER,
    units: Sequence[str] | None = None,
) -> bytes:
    quote = '"' if dialect.quote else ""
    lines = [*dialect.preamble]
    for names in (header, units):
        if names is not None:
            lines.append(dialect.separator.join(f"{quote}{n}{quote}" for n in names))
    lines += [dialect.separator.join(figure(v, dialect) for v in row) for row in rows]
    if dialect.trailing_separator:
        lines = [*lines[: len(dialect.preamble)],
                 *(x + dialect.separator for x in lines[len(dialect.preamble) :])]  # fmt: skip
    text = dialect.line_end.join(lines)
    if dialect.final_newline:
        text += dialect.line_end * (1 + dialect.blank_lines_at_end)
    return dialect.bom + text.encode(dialect.encoding)


def read(folder: Path, data: bytes | str, **more: object) -> LogRead:
    path = folder / "log.txt"
    path.write_bytes(data if isinstance(data, bytes) else data.encode())
    return read_log(path, name="log.txt", **more)  # type: ignore[arg-type]


def read_any(folder: Path, data: bytes | str, **more: object) -> LogRead:
    """As a kind of run that needs no channel but time."""
    return read(folder, data, kind=RunKind.FLUID, **more)
