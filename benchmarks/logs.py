"""A large log from file to figures, beside the fastest reader merely parsing it.

Each side runs in a process of its own (its imports done, one warm-up with a small file), so that
peak memory can be told apart.
"""

import json
import os
import statistics
import subprocess
import sys
from collections.abc import Sequence
from pathlib import Path

from benchmarks.table import Row

ROOT = Path(__file__).parent.parent
N_COLUMNS = 10

Measured = dict[str, float]


def measure(place: Path, *, n_rows: int, repeats: int = 5) -> list[Row]:
    from seed_data.large import write_large_log

    rows = []
    for messy in (False, True):
        name = "messy" if messy else "clean"
        path = place / f"{name}-{n_rows}.csv"
        if not path.exists():
            write_large_log(path, n_rows=n_rows, n_columns=N_COLUMNS, messy=messy, seed=1)
        floor, ours = side_by_side(path, messy=messy, repeats=repeats)
        label = f"log to figures, {n_rows:,} × {N_COLUMNS}, {name}"
        rows.append(Row(label, ours["wall_s"], "s", 3.0, floor["wall_s"], "floor: polars parses"))
        peak = 1024.0 if n_rows <= 1_000_000 else 2048.0
        rows.append(Row(f"{label}: peak memory", ours["peak_mib"], "MiB", peak))
    return rows


def side_by_side(path: Path, *, messy: bool, repeats: int) -> tuple[Measured, Measured]:
    """Floor and ours in turns, so that a machine busy for a while slows both; medians."""
    turns = [[child(s, path, messy=messy) for s in ("floor", "ours")] for _ in range(repeats)]
    floor, ours = zip(*turns, strict=True)
    return _middle(floor), _middle(ours)


def _middle(turns: Sequence[Measured]) -> Measured:
    return {name: statistics.median(t[name] for t in turns) for name in turns[0]}


def child(side: str, path: Path, *, messy: bool) -> Measured:
    done = subprocess.run(
        [sys.executable, "-m", "benchmarks.logs", side, str(path), str(int(messy))],
        capture_output=True,
        text=True,
        check=True,
        cwd=ROOT,
        env={**os.environ, "OPENBLAS_NUM_THREADS": "1"},  # as the command and the service do
    )
    return dict(json.loads(done.stdout))


def main() -> None:
    """The child: prints median wall time and peak memory of one side."""
    import resource

    from benchmarks.table import median_time

    side, path, messy = sys.argv[1], Path(sys.argv[2]), sys.argv[3] == "1"
    work = _floor(path, messy=messy) if side == "floor" else _ours(path)
    wall = median_time(work, 3)
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    print(json.dumps({"wall_s": wall, "peak_mib": peak}))


def _floor(path: Path, *, messy: bool):  # type: ignore[no-untyped-def]
    """polars with everything given: separator, decimal, lines to skip, types."""
    import polars as pl

    lines = path.open(encoding="utf-8").readlines(20_000)
    at = next(i for i, line in enumerate(lines) if not line.startswith("#") and line.strip())
    separator = ";" if messy else ","
    names = [f"c{i}" for i in range(lines[at].count(separator) + 1)]
    n_skip = at + (2 if messy else 1)  # header, and the units row under it

    def parse() -> pl.DataFrame:
        return pl.read_csv(
            path,
            has_header=False,
            skip_rows=n_skip,
            separator=separator,
            decimal_comma=messy,
            schema=dict.fromkeys(names, pl.Float64),
            quote_char=None,
            null_values=["", "OL", "---", "NaN"] if messy else None,
        )

    return parse


def _ours(path: Path):  # type: ignore[no-untyped-def]
    from server.actions.reduce_log import reduce_log
    from server.intake import ReadLimits
    from server.model.bench import Bench

    limits = ReadLimits(max_bytes=1 << 32, max_rows=10_000_000)
    small = path.with_suffix(".head")
    with path.open("rb") as whole:
        small.write_bytes(b"".join(whole.readline() for _ in range(5000)))

    def work() -> object:
        return reduce_log(path, file_name=path.name, bench=Bench(), limits=limits)

    reduce_log(small, file_name=small.name, bench=Bench(), limits=limits)
    return work


if __name__ == "__main__":
    main()
