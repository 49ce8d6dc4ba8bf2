"""What a recording shows: a table that keeps itself up to date, or a line a second."""

import time
from contextlib import AbstractContextManager, nullcontext

from rich.console import Console, Group
from rich.live import Live
from rich.table import Table
from rich.text import Text

from server.model.live import LiveReadings
from server.wording.live import CAVEAT, SAFETY, lines_sentence, live_label, live_rows, show_seconds

PLAIN_EVERY_S = 1.0


class Screen:
    """`notes`: what stands below the figures, newest state of each matter."""

    def __init__(self, console: Console) -> None:
        self._console = console
        self._live: Live | None = None
        self._said: set[str] = set()
        self._shown_at = 0.0
        self._n_shown = -1

    def begin(self, out: str) -> AbstractContextManager[object]:
        self._console.print(SAFETY, style="bold", highlight=False)
        self._console.print(f"Recording into {out}; Ctrl-C ends it.", highlight=False)
        self._console.print(CAVEAT, style="dim", highlight=False)
        if not self._console.is_terminal:
            return nullcontext()
        self._live = Live(console=self._console, auto_refresh=False)
        return self._live

    def show(self, readings: LiveReadings, notes: list[str], *, is_last: bool = False) -> None:
        if self._live is not None:
            self._live.update(_drawn(readings, notes), refresh=True)
            return
        for note in notes:
            if note not in self._said:
                self._said.add(note)
                self._console.print(note, highlight=False, markup=False, soft_wrap=True)
        is_due = time.monotonic() - self._shown_at >= PLAIN_EVERY_S or is_last
        if is_due and readings.n_lines != self._n_shown:
            self._shown_at, self._n_shown = time.monotonic(), readings.n_lines
            self._console.print(_line(readings), highlight=False, markup=False, soft_wrap=True)


def _line(readings: LiveReadings) -> str:
    figures = [
        f"{live_label(q).lower()} {now} (highest {highest})"
        for q, now, highest in live_rows(readings)
    ]
    words = lines_sentence(readings.n_lines, readings.n_unreadable)
    return f"{show_seconds(readings.at_s)}  {', '.join(figures) or 'no figures yet'}.  {words}"


def _drawn(readings: LiveReadings, notes: list[str]) -> Group:
    table = Table("", "now", "highest so far", title=f"Test time {show_seconds(readings.at_s)}")
    table.columns[1].justify = table.columns[2].justify = "right"
    for quantity, now, highest in live_rows(readings):
        table.add_row(live_label(quantity), now, highest)
    words = lines_sentence(readings.n_lines, readings.n_unreadable)
    return Group(table, Text(words, style="dim"), *(Text(note) for note in notes))
