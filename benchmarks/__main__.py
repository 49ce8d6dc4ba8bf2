"""`make bench`: one table of what, ours, floor, ratio, goal. BENCH_JSON=file writes the same.

Arguments choose parts: logs, draws, pages, upload, start, weight. `large` adds 5 million rows and a
million runs.
"""

import os
import sys
import tempfile
from pathlib import Path

from rich.console import Console

from benchmarks.table import Row, show, write_json

PARTS = ("logs", "recompute", "draws", "upload", "pages", "start", "weight")


def main(arguments: list[str]) -> int:
    wanted = [part for part in arguments if part in PARTS] or list(PARTS)
    unknown = set(arguments) - set(PARTS) - {"large"}
    if unknown:
        print(f"unknown: {', '.join(sorted(unknown))}; parts are {', '.join(PARTS)}, large")
        return 2
    console = Console()
    rows: list[Row] = []
    with tempfile.TemporaryDirectory(prefix="benchledger-bench-") as folder:
        place = Path(os.environ.get("BENCH_DATA", folder))
        place.mkdir(parents=True, exist_ok=True)
        for part in wanted:
            console.print(f"measuring: {part} …", style="dim")
            rows += _measure(part, place, is_large="large" in arguments)
    show(rows, console)
    if target := os.environ.get("BENCH_JSON"):
        write_json(rows, Path(target))
    return 0


def _measure(part: str, place: Path, *, is_large: bool) -> list[Row]:
    from benchmarks import logs, pages

    if part == "logs":
        rows = logs.measure(place, n_rows=1_000_000)
        return rows + (logs.measure(place, n_rows=5_000_000, repeats=1) if is_large else [])
    if part == "pages":
        rows = pages.measure(place, n_appliances=20_000)
        return rows + (pages.measure(place, n_appliances=200_000) if is_large else [])
    from benchmarks import draws, start, upload, weight

    if part == "draws":
        return draws.measure()

    if part == "recompute":
        return upload.measure_recompute(place, n_rows=1_000_000)
    if part == "upload":
        return upload.measure(place, n_rows=1_000_000)
    return start.measure(place) if part == "start" else weight.measure(place)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
