"""Start a service on a free port, ask it things, and time the answers."""

import os
import socket
import statistics
import subprocess
import sys
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import psutil

ROOT = Path(__file__).parent.parent


@contextmanager
def service(data: Path, *, module: str = "benchmarks.floor_app") -> Iterator[str]:
    """One web process over the data folder; gives its address."""
    listener = socket.create_server(("127.0.0.1", 0))
    listener.set_inheritable(True)
    child = subprocess.Popen(
        [sys.executable, "-m", module, str(listener.fileno())],
        pass_fds=[listener.fileno()],
        env={**os.environ, "BENCHLEDGER_DATA": str(data), "OPENBLAS_NUM_THREADS": "1"},
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


def timings(client: httpx.Client, address: str, n: int, headers: dict[str, str] | None = None):  # type: ignore[no-untyped-def]
    """(p50, p99) in ms of `n` requests one after another, after ten unmeasured ones."""
    taken = []
    for i in range(n + 10):
        start = time.perf_counter()
        answer = client.get(address, headers=headers)
        if i >= 10:
            taken.append((time.perf_counter() - start) * 1e3)
        assert answer.status_code in {200, 304}, f"{address}: {answer.status_code}"
    taken.sort()
    return statistics.median(taken), taken[min(len(taken) - 1, int(0.99 * len(taken)))]


def resident_mib(pid: int) -> float:
    return float(psutil.Process(pid).memory_info().rss) / 2**20
