"""Limits of a service of several web processes that count for themselves."""

import os
import signal
import subprocess
import sys
import time

import httpx

from server.settings import Settings
from tests.commands.serving import ROOT, command, free_port

MOST = 12


def test_two_processes_together_allow_no_more_than_the_limit(sqlite_settings: Settings) -> None:
    port = free_port()
    address = f"http://127.0.0.1:{port}"
    service = subprocess.Popen(
        [sys.executable, "-m", "server.cli", "serve", "--port", str(port)],
        cwd=ROOT,
        stdout=subprocess.DEVNULL,
        env={
            **os.environ,
            "BENCHLEDGER_DATA": str(sqlite_settings.data),
            "BENCHLEDGER_WEB_PROCESSES": "2",
            "BENCHLEDGER_LIMIT_READ_BY_ADDRESS": f"{MOST}/day",
        },
    )
    try:
        deadline = time.monotonic() + 60
        # Both are up once twenty requests in a row, each on a new connection, were answered.
        n_ready = 0
        while n_ready < 20:
            assert time.monotonic() < deadline
            try:
                n_ready += httpx.get(f"{address}/healthz", timeout=5).status_code == 200
            except httpx.TransportError:
                time.sleep(0.1)
        statuses = [
            httpx.get(f"{address}/methods?nth={nth}", timeout=20).status_code
            for nth in range(4 * MOST)
        ]
    finally:
        service.send_signal(signal.SIGTERM)
        service.wait(30)
    assert set(statuses) == {200, 429}
    # Each allows half; whichever answered, never more than both together.
    assert MOST // 2 <= statuses.count(200) <= MOST


def test_a_limit_that_cannot_be_shared_out_is_told_at_the_start(sqlite_settings: Settings) -> None:
    more = {
        "BENCHLEDGER_DATA": str(sqlite_settings.data),
        "BENCHLEDGER_WEB_PROCESSES": "6",
        "BENCHLEDGER_LIMIT_REPORT_BY_ADDRESS": "5/hour",
    }
    done = command("serve", "--port", free_port(), environment=more)
    assert done.returncode == 1
    assert "BENCHLEDGER_LIMIT_REPORT_BY_ADDRESS" in done.stderr
    assert "BENCHLEDGER_RATE_STORE" in done.stderr
