"""Start a service on a free port, ask it things, and time the answers."""

import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

import httpx
import psutil

from server.commands.process_environment import process_environment

ROOT = Path(__file__).parent.parent


@contextmanager
def service(
    data: Path,
    *,
    module: str = "benchmarks.floor_app",
    settings: Mapping[str, str] | None = None,
) -> Iterator[str]:
    """One web process over the data folder; gives its address."""
    listener = socket.create_server(("127.0.0.1", 0))
    listener.set_inheritable(True)
    child = subprocess.Popen(
        [sys.executable, "-m", module, str(listener.fileno())],
        pass_fds=[listener.fileno()],
        env=process_environment({"BENCHLEDGER_DATA": str(data), **(settings or {})}),
        cwd=ROOT,
    )
    address = f"http://127.0.0.1:{listener.getsockname()[1]}"
    listener.close()
    try:
        wait_ready(address)
        yield address
    finally:
        child.terminate()
        child.wait(20)


def wait_ready(address: str, timeout_s: float = 60) -> None:
    deadline = time.monotonic() + timeout_s
    while True:
        try:
            if httpx.get(f"{address}/healthz", timeout=5).status_code == 200:
                return
        except httpx.TransportError:
            if time.monotonic() > deadline:
                raise
        time.sleep(0.05)


Timed = tuple[float, float]


def timings(client: httpx.Client, address: str, n: int) -> Timed:
    """(p50, p99) in ms of `n` requests one after another, after ten unmeasured ones."""
    (timed,) = timings_in_turns(client, [(address, {})], n)
    return timed


def timings_in_turns(
    client: httpx.Client, asked: Sequence[tuple[str, dict[str, str]]], n: int
) -> list[Timed]:
    """The same of several addresses with their headers, asked in turns: what slows the machine
    for a while slows all of them."""
    taken: list[list[float]] = [[] for _ in asked]
    for i in range(n + 10):
        for (address, headers), times in zip(asked, taken, strict=True):
            start = time.perf_counter()
            answer = client.get(address, headers=headers)
            if i >= 10:
                times.append((time.perf_counter() - start) * 1e3)
            assert answer.status_code in {200, 304}, f"{address}: {answer.status_code}"
    return [(statistics.median(t), sorted(t)[int(0.99 * (len(t) - 1))]) for t in taken]


def resident_mib(pid: int) -> float:
    return float(psutil.Process(pid).memory_info().rss) / 2**20
