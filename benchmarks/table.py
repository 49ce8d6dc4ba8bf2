"""One row per measurement, and the table they make."""

import json
import statistics
import time
from collections.abc import Callable
from dataclasses import asdict, dataclass
from pathlib import Path

from rich.console import Console
from rich.table import Table


@dataclass(frozen=True, slots=True)
class Row:
    """`ratio` = ours / floor; `goal` is the highest ratio (or value, where there is no floor)."""

    what: str
    ours: float
    unit: str
    goal: float
    floor: float | None = None
    note: str = ""
    at_least: bool = False

    @property
    def ratio(self) -> float | None:
        return None if self.floor is None else self.ours / self.floor

    @property
    def is_met(self) -> bool:
        judged = self.ours if self.ratio is None else self.ratio
        return judged >= self.goal if self.at_least else judged <= self.goal


def median_time(work: Callable[[], object], repeats: int) -> float:
    """Median wall time of `work`, seconds."""
    taken = []
    for _ in range(repeats):
        start = time.perf_counter()
        work()
        taken.append(time.perf_counter() - start)
    return statistics.median(taken)


def show(rows: list[Row], console: Console) -> None:
    table = Table("what", "ours", "floor", "ratio", "goal", "", "note")
    for row in rows:
        sign = "≥" if row.at_least else "≤"
        table.add_row(
            row.what,
            f"{row.ours:,.4g} {row.unit}",
            "" if row.floor is None else f"{row.floor:,.4g} {row.unit}",
            "" if row.ratio is None else f"{row.ratio:.2f}",
            f"{sign} {row.goal:g}{' ×' if row.floor is not None else ' ' + row.unit}",
            "met" if row.is_met else "not met",
            row.note,
        )
    console.print(table)


def write_json(rows: list[Row], path: Path) -> None:
    path.write_text(
        json.dumps([{**asdict(r), "ratio": r.ratio, "met": r.is_met} for r in rows], indent=2)
    )
