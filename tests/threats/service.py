"""The processes that are killed, as they are served, and the socket that outlives them."""

import json
import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx

from server.settings import Settings

ROOT = Path(__file__).parents[2]
ALIVE_WITHIN_S = 60.0


class Service:
    """The processes as they are forked from the zygote, and the socket that outlives them."""

    def __init__(self, settings: Settings, environment: dict[str, str]) -> None:
        self.settings = settings
        self._environment = environment
        self._listener = socket.create_server(("127.0.0.1", 0), backlog=256)
        self._listener.set_inheritable(True)
        self.address = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        self._zygote = subprocess.Popen(
            [sys.executable, "-m", "tests.threats.staged"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=ROOT,
            pass_fds=[self._listener.fileno()],
        )
        self.pids: dict[str, int] = {}

    def start(self, role: str) -> None:
        assert self._zygote.stdin is not None
        assert self._zygote.stdout is not None
        order = {
            "role": role,
            "fd": self._listener.fileno(),
            "environment": self._environment,
        }
        self._zygote.stdin.write(json.dumps(order) + "\n")
        self._zygote.stdin.flush()
        self.pids[role] = json.loads(self._zygote.stdout.readline())["pid"]

    def is_alive(self, role: str) -> bool:
        try:
            os.kill(self.pids[role], 0)
        except ProcessLookupError:
            return False
        return True

    def kill(self, role: str) -> None:
        os.kill(self.pids[role], signal.SIGKILL)

    def wait_until_up(self) -> None:
        deadline = time.monotonic() + ALIVE_WITHIN_S
        while time.monotonic() < deadline:
            try:
                if httpx.get(f"{self.address}/healthz", timeout=5).status_code == 200:
                    return
            except httpx.TransportError:
                pass
            time.sleep(0.02)
        raise AssertionError("the web process does not come up")

    def end(self) -> None:
        for role in self.pids:
            if self.is_alive(role):
                self.kill(role)
        assert self._zygote.stdin is not None
        assert self._zygote.stdout is not None
        self._zygote.stdin.close()
        self._zygote.wait(30)
        self._zygote.stdout.close()
        self._listener.close()
