"""A log that is still being written: its readings as they come, by the rules of the whole file.

The first lines tell how it is written, as they do for a whole file; from then on each piece of new
lines is read below the lines above the readings and a few rows that were read before, which say
where the clock stands.
"""

from __future__ import annotations

import codecs
import re
import tempfile
from collections import deque
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

from server.errors import TooLarge, UnusableLog
from server.intake.assemble import assemble
from server.intake.dialect import COMMENT
from server.intake.limits import ReadLimits
from server.intake.plan import Plan, make_plan
from server.intake.table import read_table
from server.intake.text import Text, decode, open_text
from server.model.bench import ColumnChoice
from server.model.recording import Column, Recording

PLANNED_LINES = 300  # what the dialect of a whole file is found from, too
OVERLAP_ROWS = 40
_LEAST_LINES = 3
_NAME = "log"
_LIMITS = ReadLimits()
_LINE_END = re.compile(rb"\r*\n|\r")


class Lines:
    """Whole lines out of bytes as they arrive, each ended by LF; UTF-16 becomes UTF-8."""

    def __init__(self) -> None:
        self._decoder: codecs.IncrementalDecoder | None = None
        self._is_begun = False
        self._rest = b""

    def feed(self, arrived: bytes) -> list[bytes]:
        """The lines that are whole by now."""
        if not self._is_begun:
            arrived = self._rest + arrived
            if len(arrived) < 2:
                self._rest = arrived
                return []
            self._is_begun, self._rest = True, b""
            if arrived.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE)):
                self._decoder = codecs.getincrementaldecoder("utf-16")(errors="replace")
        if self._decoder is not None:
            arrived = self._decoder.decode(arrived).encode()
        text = self._rest + arrived
        # A CR at the end may be the first half of a CRLF.
        kept = text[-1:] if text.endswith(b"\r") else b""
        *whole, rest = _LINE_END.split(text[: len(text) - len(kept)])
        self._rest = rest + kept
        return [line + b"\n" for line in whole]

    def last(self) -> list[bytes]:
        """What no line end followed, once no more will come."""
        rest, self._rest = self._rest.rstrip(b"\r"), b""
        return [rest + b"\n"] if rest else []


@dataclass(frozen=True, slots=True)
class _Row:
    """A line of readings by its number in the file, from 1."""

    line: int
    raw: bytes


@dataclass(slots=True)
class Following:
    """`problems` say why nothing is read yet; `unreadable` are the lines (from 1) that can't be."""

    choices: Sequence[ColumnChoice] = ()
    pulses_per_revolution: float | None = None
    needs_time: bool = True
    problems: tuple[str, ...] = ()
    unreadable: set[int] = field(default_factory=set)
    n_lines: int = 0
    _head: list[bytes] = field(default_factory=list)
    _plan: Plan | None = None
    _n_read: int = 0
    _known: deque[tuple[_Row, float]] = field(default_factory=lambda: deque(maxlen=OVERLAP_ROWS))

    @property
    def columns(self) -> tuple[Column, ...]:
        """What the columns were taken for; empty while nothing is read."""
        return () if self._plan is None else tuple(c.column for c in self._plan.columns)

    def take(self, lines: Sequence[bytes]) -> Recording | None:
        """The readings of new lines, each with its line end; time goes on from the first row.

        Returns
        -------
        Recording with a row for each line that has a time; None where none has, or where it is not
        clear yet how the log is written. A channel without a reading among them is all NaN.
        """
        first = self.n_lines + 1
        self.n_lines += len(lines)
        if len(self._head) < PLANNED_LINES:
            self._head += lines[: PLANNED_LINES - len(self._head)]
            if len(self._head) < _LEAST_LINES:
                return None
            self._plan = self._make_plan() or self._plan
        if self._plan is None:
            return None
        waiting = [_Row(n, raw) for n, raw in enumerate(self._head, start=1) if n < first]
        rows = [*waiting, *(_Row(n, raw) for n, raw in enumerate(lines, start=first))]
        after = max(self._n_read, self._plan.dialect.first_line)
        self._n_read = self.n_lines
        return self._read([r for r in rows if r.line > after and not self._is_bare(r.raw)])

    def _make_plan(self) -> Plan | None:
        try:
            with _as_file(self._head) as text:
                plan = make_plan(
                    text, self.choices, self.pulses_per_revolution, name=_NAME, limits=_LIMITS
                )
        except (TooLarge, UnusableLog) as refusal:
            self.problems = (str(refusal),)
            return None
        self.problems = tuple(str(p) for p in plan.problems)
        return None if plan.problems else plan

    def _is_bare(self, raw: bytes) -> bool:
        """A blank line, a comment, or separators alone."""
        assert self._plan is not None
        text = decode(raw)
        return not text.strip(self._plan.dialect.separator + " \t\r\n") or bool(COMMENT.match(text))

    def _read(self, new: list[_Row]) -> Recording | None:
        assert self._plan is not None
        known = list(self._known)
        while new:
            try:
                return self._readings(known, new)
            except UnusableLog as refusal:
                above = self._plan.dialect.first_line + len(known)
                bad = {p.row - above - 1 for p in refusal.problems if p.row is not None}
                bad &= set(range(len(new)))
                # Without a line that is to blame none of them can be read.
                self.unreadable |= {new[i].line for i in (bad or range(len(new)))}
                new = [row for i, row in enumerate(new) if i not in bad] if bad else []
        return None

    def _readings(self, known: list[tuple[_Row, float]], new: list[_Row]) -> Recording | None:
        import numpy as np

        assert self._plan is not None
        plan = self._plan
        above = self._head[: plan.dialect.first_line]
        lines = [*above, *(row.raw for row, _ in known), *(row.raw for row in new)]
        with _as_file(lines) as text:
            table = read_table(text, plan.dialect, plan.wants(), end=text.n_bytes)
            read = assemble(
                table,
                plan.columns,
                plan.dialect,
                notes={},
                name=_NAME,
                needs_time=self.needs_time,
                is_part=True,
            )
        if len(read.time_s) != len(known) + len(new):
            raise UnusableLog(_NAME, [])
        time = np.asarray(read.time_s, dtype=np.float64)
        shifts = [t - time[i] for i, (_, t) in enumerate(known) if np.isfinite(time[i])]
        time = time + (shifts[-1] if shifts else 0.0)
        self._known.extend(
            (row, float(t))
            for row, t in zip(new, time[len(known) :], strict=True)
            if np.isfinite(t)
        )
        fresh = np.isfinite(time)
        fresh[: len(known)] = False
        if not fresh.any():
            return None
        return Recording(time[fresh], {c: v[fresh] for c, v in read.channels.items()})


@contextmanager
def _as_file(lines: Iterable[bytes]) -> Iterator[Text]:
    """The readers take files, so that what is read piece by piece goes the same way."""
    with tempfile.NamedTemporaryFile(prefix="benchledger-", suffix=".txt") as file:
        file.write(b"".join(lines))
        file.flush()
        with open_text(Path(file.name), name=_NAME, limits=_LIMITS) as text:
            yield text
