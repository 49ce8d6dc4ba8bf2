"""Read what a command is given: a log's path and a bench file."""

from pathlib import Path

from server.errors import Problem, UnusableBench, UnusableLog
from server.model.bench import Bench


def check_log(path: Path) -> Path:
    """Raises UnusableLog where there is no readable file."""
    if path.is_dir():
        problem = Problem("This is a folder.", "Name a file in it.")
        raise UnusableLog(str(path), [problem])
    if not path.is_file():
        raise UnusableLog(
            str(path), [Problem("There is no such file.", "Check the path and its spelling.")]
        )
    return path


def bench_bytes(path: Path | None) -> bytes:
    """Content of the bench file, empty where none is given. Raises UnusableBench."""
    if path is None:
        return b""
    try:
        return path.read_bytes()
    except OSError as error:
        raise UnusableBench(
            str(path), [Problem(f"It can't be read ({error.strerror}).", "Check the path.")]
        ) from error


def read_bench_file(path: Path | None) -> Bench:
    from server.intake import read_bench

    return Bench() if path is None else read_bench(bench_bytes(path), name=path.name)
