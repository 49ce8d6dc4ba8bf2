"""Start the web processes and one worker, and keep them together.

The parent opens the socket once and hands it to every web process, so that a process that
dies is replaced without a refused connection. Children watch for their parent and end with it.
"""

import signal
import socket
import subprocess
import sys
import time
from types import FrameType

from rich.console import Console

from server.commands.process_environment import process_environment
from server.errors import BenchledgerError
from server.settings import Settings

# A child that dies this soon after its start, this often in a row, ends the service.
QUICK_DEATH_S = 5.0
QUICK_DEATHS_ALLOWED = 3


def serve(settings: Settings, *, console: Console | None = None) -> None:
    """Serve until told to stop (SIGINT or SIGTERM).

    Raises
    ------
    BenchledgerError: the port is taken, the processes keep dying at their start, or a limit can't
        be shared out among them.
    """
    console = console or Console()
    check_shares(settings)
    from server.static_files import build_static
    from server.store.database import migrate

    build_static()
    settings.data.mkdir(parents=True, exist_ok=True)
    migrate(settings)
    listener = _listen(settings)
    host = f"[{settings.host}]" if ":" in settings.host else settings.host
    console.print(f"Serving on http://{host}:{listener.getsockname()[1]}  (stop with Ctrl-C)")
    _supervise(settings, listener)


def check_shares(settings: Settings) -> None:
    """Raises BenchledgerError for a limit that is smaller than the number of web processes.

    Without a shared store each process takes its share of a limit, and that is one at least.
    """
    n = settings.web_processes
    small = [
        f"BENCHLEDGER_{name.upper()}" for name, (most, _) in settings.rates.items() if most < n
    ]
    if small and settings.rate_store is None:
        raise BenchledgerError(
            f"{n} web processes can't share {', '.join(small)} out among them. Raise the limit, "
            "take fewer processes (BENCHLEDGER_WEB_PROCESSES), or let them count together "
            "(BENCHLEDGER_RATE_STORE)."
        )


def _listen(settings: Settings) -> socket.socket:
    family = socket.AF_INET6 if ":" in settings.host else socket.AF_INET
    listener = socket.socket(family, socket.SOCK_STREAM)
    listener.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
    try:
        listener.bind((settings.host, settings.port))
    except OSError as error:
        raise BenchledgerError(
            f"Port {settings.port} on {settings.host} can't be used ({error.strerror}). "
            "Choose another with PORT=… or --port."
        ) from error
    listener.listen(2048)
    listener.set_inheritable(True)
    return listener


class _Children:
    """The running processes, by what they do."""

    def __init__(self, settings: Settings, listener: socket.socket) -> None:
        self._environment = _environment(settings)
        self._fd = listener.fileno()
        self.running: dict[str, tuple[subprocess.Popen[bytes], float]] = {}
        self.quick_deaths = 0

    def start(self, name: str) -> None:
        module = "server.commands.work" if name == "worker" else "server.commands.web"
        child = subprocess.Popen(  # noqa: S603  our own modules, no shell
            [sys.executable, "-m", module, *([] if name == "worker" else [str(self._fd)])],
            pass_fds=[] if name == "worker" else [self._fd],
            env=self._environment,
        )
        self.running[name] = (child, time.monotonic())

    def replace_dead(self) -> None:
        for name, (child, started) in list(self.running.items()):
            if child.poll() is None:
                continue
            quick = time.monotonic() - started < QUICK_DEATH_S
            self.quick_deaths = self.quick_deaths + 1 if quick else 0
            if self.quick_deaths > QUICK_DEATHS_ALLOWED:
                raise BenchledgerError(f"The {name} process keeps ending ({child.returncode}).")
            self.start(name)

    def stop(self) -> None:
        for child, _ in self.running.values():
            child.terminate()
        deadline = time.monotonic() + 10
        for child, _ in self.running.values():
            try:
                child.wait(max(0.1, deadline - time.monotonic()))
            except subprocess.TimeoutExpired:
                child.kill()


def _supervise(settings: Settings, listener: socket.socket) -> None:
    stopping = False

    def stop(_signal: int, _frame: FrameType | None) -> None:
        nonlocal stopping
        stopping = True

    signal.signal(signal.SIGTERM, stop)
    signal.signal(signal.SIGINT, stop)
    children = _Children(settings, listener)
    try:
        for name in [f"web {n + 1}" for n in range(settings.web_processes)] + ["worker"]:
            children.start(name)
        while not stopping:
            time.sleep(0.2)
            children.replace_dead()
    finally:
        children.stop()
        listener.close()


def _environment(settings: Settings) -> dict[str, str]:
    """The settings as the children read them, and what they run with."""
    named = {
        f"BENCHLEDGER_{name.upper()}": str(value)
        for name, value in settings.model_dump().items()
        if value is not None
    }
    return process_environment(named)
