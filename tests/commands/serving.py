"""The real application in a process of its own, and a server that answers as it is told."""

import json
import os
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass, field
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from pathlib import Path

import httpx

from server.settings import Settings

ROOT = Path(__file__).parents[2]


def free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


@contextmanager
def served(settings: Settings, *, port: int | None = None) -> Iterator[str]:
    """One web process over the settings' data; its address."""
    port = port or free_port()
    address = f"http://127.0.0.1:{port}"
    process = subprocess.Popen(
        [sys.executable, "-m", "uvicorn", "--factory", "server.app:create_app",
         "--port", str(port), "--log-level", "warning"],
        cwd=ROOT, env={**os.environ, "BENCHLEDGER_DATA": str(settings.data)},
    )  # fmt: skip
    try:
        deadline = time.monotonic() + 60
        while True:
            try:
                if httpx.get(f"{address}/healthz", timeout=2).status_code == 200:
                    break
            except httpx.TransportError:
                assert process.poll() is None, "the web process ended while it started"
                assert time.monotonic() < deadline
                time.sleep(0.05)
        yield address
    finally:
        process.kill()
        process.wait()


@dataclass
class Told:
    """What the answering server was asked, and what it says next: (status, headers, JSON)."""

    say: Callable[[str, str], tuple[int, Mapping[str, str], object]]
    asked: list[tuple[str, str, Mapping[str, str], bytes]] = field(default_factory=list)
    address: str = ""


@contextmanager
def answering(
    say: Callable[[str, str], tuple[int, Mapping[str, str], object]],
) -> Iterator[Told]:
    """A server of its own thread that answers (method, path) as `say` does."""
    told = Told(say)

    class Handler(BaseHTTPRequestHandler):
        def answer(self) -> None:
            body = self.rfile.read(int(self.headers.get("content-length", "0")))
            told.asked.append((self.command, self.path, dict(self.headers), body))
            status, headers, content = told.say(self.command, self.path)
            sent = json.dumps(content).encode()
            self.send_response(status)
            for name, value in {"Content-Type": "application/json", **headers}.items():
                self.send_header(name, value)
            self.send_header("Content-Length", str(len(sent)))
            self.end_headers()
            self.wfile.write(sent)

        do_GET = do_POST = do_PUT = answer

        def log_message(self, *_: object) -> None:
            pass

    server = ThreadingHTTPServer(("127.0.0.1", 0), Handler)
    thread = threading.Thread(target=server.serve_forever, args=(0.02,), daemon=True)
    thread.start()
    told.address = f"http://127.0.0.1:{server.server_port}"
    try:
        yield told
    finally:
        server.shutdown()
        server.server_close()
        thread.join()


def command(
    *arguments: object, environment: Mapping[str, str] | None = None, **more: object
) -> subprocess.CompletedProcess[str]:
    """`benchledger …` as a process of its own; warnings are errors."""
    return subprocess.run(
        [sys.executable, "-W", "error", "-m", "server.cli", *map(str, arguments)],
        capture_output=True, text=True, check=False, cwd=ROOT, stdin=subprocess.DEVNULL,
        env={**os.environ, **(environment or {})}, **more,
    )  # fmt: skip
