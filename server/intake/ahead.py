"""A log read while it still arrives: its first bytes tell how, and whole lines follow in pieces.

What comes of it is taken for what it is only once the file is whole and was planned as a whole;
where anything differs from plain figures the reading stops, and the file is read when it is there.
"""

from __future__ import annotations

from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, BinaryIO

from server.errors import TooLarge, UnusableLog
from server.intake.fast import FastWay, fast_way, is_even, offset_of_line, parse
from server.intake.limits import ReadLimits
from server.intake.plan import make_plan
from server.intake.sheet import ZIP_START
from server.intake.text import open_text

if TYPE_CHECKING:
    import polars as pl

PIECE_BYTES = 1 << 23
AT_ONCE = 8  # pieces that have piled up: the fewer calls, the less each core waits for the other
_TAIL_BYTES = 1 << 16  # a longer line is none of a log
_BLANK = (b"\n", b"\r", b" ", b"\t")


@dataclass(frozen=True, slots=True)
class ReadAhead:
    """The columns of a file's first `end` bytes, read in one `way`; none where the reading had to
    stop. `n_lines`: about how many line ends there are. The last of it may still be under way.
    """

    way: FastWay
    columns: Future[list[pl.Series]]
    end: int
    n_lines: int

    def take(self, way: FastWay, *, end: int) -> list[pl.Series] | None:
        """The columns, if reading up to byte `end` in that way would give them: once, so that
        they are held no longer than they are needed. Waits for the last of them."""
        if way != self.way or end != self.end:
            return None
        columns = self.columns.result()
        taken = list(columns)
        columns.clear()
        return taken or None


@dataclass(slots=True)
class ReadingAhead:
    """Follows a file that grows. Reads nothing of one that stays smaller than a piece, and no
    more than `max_rows`."""

    path: Path
    limits: ReadLimits
    piece_bytes: int = PIECE_BYTES
    _way: FastWay | None = None
    _frames: list[Any] = field(default_factory=list)
    _at: int = 0
    _n_rows: int = 0
    _n_lines: int = 0
    _has_stopped: bool = False

    def advance(self, n_bytes: int) -> None:
        """Read on, where another piece is there. `n_bytes`: how long the file is by now."""
        if not self._has_stopped and n_bytes - self._at >= self.piece_bytes:
            self._read_to(n_bytes, is_last=False)

    def finish(self, n_bytes: int) -> ReadAhead | None:
        """The whole file is there: what was read of it, and is read of it by a thread from here
        on; None where nothing was, or the reading has stopped."""
        if self._way is None:
            self.advance(n_bytes)
        if self._way is None or self._has_stopped:
            return None
        n_lines = round(self._n_lines * n_bytes / max(self._at, 1))
        thread = ThreadPoolExecutor(1, thread_name_prefix="reads the rest")
        rest = thread.submit(self._read_rest, n_bytes)
        thread.shutdown(wait=False)
        return ReadAhead(self._way, rest, n_bytes, n_lines)

    def stop(self) -> None:
        """Read no further than the piece that is being read."""
        self._has_stopped = True

    def _read_rest(self, n_bytes: int) -> list[pl.Series]:
        if n_bytes > self._at:
            self._read_to(n_bytes, is_last=True)
        if self._has_stopped:
            return []
        import polars as pl

        whole = pl.concat(self._frames, rechunk=False)
        return [whole.get_column(name) for name in whole.columns]

    def _read_to(self, n_bytes: int, *, is_last: bool) -> None:
        if self._way is None:
            self._way = self._find_way()
        upto = 0
        while not self._has_stopped and upto < n_bytes:
            upto = min(n_bytes, self._at + AT_ONCE * self.piece_bytes)
            is_end = is_last and upto == n_bytes
            if self._way is None or not self._read_piece(self._way, upto, is_last=is_end):
                self._has_stopped = True
                self._frames.clear()

    def _find_way(self) -> FastWay | None:
        """From the part that is there. A plan of the whole file may differ; `take` tells."""
        with self.path.open("rb") as file:
            head = file.read(self.piece_bytes)
        if head.startswith(ZIP_START):  # a workbook says what is in it at its end
            return None
        try:
            with open_text(self.path, name="log", limits=self.limits) as text:
                if text.path != self.path:
                    return None
                plan = make_plan(text, (), None, name="log", limits=self.limits)
        except (TooLarge, UnusableLog):
            return None
        way = fast_way(plan.dialect, plan.wants())
        # In quotes a line end is none: pieces can't be cut where one stands.
        if way is None or way.is_quoted:
            return None
        self._at = offset_of_line(head, text.bom_bytes, way.first_line)
        self._n_lines = way.first_line
        return way

    def _read_piece(self, way: FastWay, n_bytes: int, *, is_last: bool) -> bool:
        with self.path.open("rb", buffering=0) as file:
            end = n_bytes if is_last else _end_of_lines(file, n_bytes)
            file.seek(self._at)
            raw = file.read(max(end - self._at, 0))  # no more than is used: a copy costs as much
        # A blank line reads as a row of blanks, but for the first one the reader is given.
        if (
            len(raw) != end - self._at
            or not raw
            or raw.startswith(_BLANK)
            or (way.mark == "," and b"." in raw)
        ):
            return False
        frame, _ = parse(raw, way)
        if frame is None or not is_even(raw, frame, way, start=0, end=len(raw)):
            return False
        self._frames.append(frame)
        self._at += len(raw)
        self._n_rows += frame.height
        self._n_lines += frame.height - (not raw.endswith(b"\n"))
        return self._n_rows <= self.limits.max_rows


def _end_of_lines(file: BinaryIO, n_bytes: int) -> int:
    """Behind the last line end of the first `n_bytes`; 0 where none is near."""
    start = max(n_bytes - _TAIL_BYTES, 0)
    file.seek(start)
    at = file.read(n_bytes - start).rfind(b"\n")
    return 0 if at < 0 else start + at + 1
