"""Which logs a path means, and the bench file of each.

A log is described by the TOML file of its own name beside it (run-3.csv: run-3.toml), else by the
bench.toml of its folder. In folders, those below included, every CSV, TSV, DAT, LOG, ASC, PRN or
XLSX file is a log; a TXT file is one where it has a TOML file of its own name. Names that begin
with a point are left alone.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path

from server.commands.inputs import check_log
from server.errors import BenchledgerError

OF_FOLDER = "bench.toml"
LOG_SUFFIXES = frozenset({".csv", ".tsv", ".dat", ".log", ".asc", ".prn", ".xlsx"})


@dataclass(frozen=True, slots=True)
class Described:
    """A log and what describes it; `bench` None: nothing does."""

    log: Path
    bench: Path | None
    is_from_folder: bool = False


def find_logs(paths: Sequence[Path], *, bench: Path | None) -> list[Described]:
    """The logs of some files and folders, each once, with their bench files.

    Parameters
    ----------
    bench : given for all of them; it goes before what lies beside a log.

    Raises
    ------
    UnusableLog: a path is neither a file nor a folder.
    BenchledgerError: a folder without a log.
    """
    found: dict[Path, Described] = {}
    for path in paths:
        logs = _logs_below(path) if path.is_dir() else [check_log(path)]
        for log in logs:
            described = Described(log, bench or _bench_of(log), is_from_folder=path.is_dir())
            found.setdefault(log.resolve(), described)
    return list(found.values())


def _logs_below(folder: Path) -> list[Path]:
    logs = [p for p in _visible(folder, folder.rglob("*")) if p.is_file() and _is_log(p)]
    if not logs:
        known = ", ".join(sorted(LOG_SUFFIXES))
        raise BenchledgerError(f"There is no log in {folder} (a name that ends in {known}).")
    return sorted(logs)


def _visible(folder: Path, paths: Iterable[Path]) -> Iterable[Path]:
    return (
        p for p in paths if not any(part.startswith(".") for part in p.relative_to(folder).parts)
    )


def _is_log(path: Path) -> bool:
    suffix = path.suffix.lower()
    return suffix in LOG_SUFFIXES or (suffix == ".txt" and path.with_suffix(".toml").is_file())


def _bench_of(log: Path) -> Path | None:
    for path in (log.with_suffix(".toml"), log.parent / OF_FOLDER):
        if path.is_file():
            return path
    return None
