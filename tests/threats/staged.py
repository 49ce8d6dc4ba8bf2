"""The web process and the worker as they are served, which die in a stage they are told to.

A zygote, `python -m tests.threats.staged`, loads the libraries once and forks a process for each
order, one JSON object a line: {"role": "web" | "worker", "fd": …, "environment": {…}}; it answers
the process's number. A process that enters a stage looks for the file `arm-ROLE` beside the data
folder; where that names the stage, the process takes the file and is killed (SIGKILL, by itself)
some milliseconds later, in the midst of whatever it does then. Nothing in the service knows of it.
"""

import functools
import json
import os
import re
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable
from datetime import timedelta
from pathlib import Path
from typing import Any

# Loaded before the fork, with whatever the first log of a process loads.
import server.actions.prepare_run
import server.actions.submit_run
import server.actions.verify
import server.app
import server.worker  # noqa: F401
from server.intake import bench_from_mapping
from server.settings import Settings
from server.units import conversion, kinds, known_units
from tests.api.logs import BENCH

# The stages of each process, with how long they last at most, about, in seconds.
STAGES = {
    "web": {
        "receiving": 0.12,
        "keeping": 0.01,
        "reducing": 0.25,
        "writing": 0.03,
        "committing": 0.003,
        "keeping a recording": 0.01,
        "withdrawing": 0.03,
        "publishing": 0.03,
        "returning": 0.03,
        "photographing": 0.05,
        "taking a piece": 0.05,
        "making it whole": 0.05,
    },
    "worker": {
        "leasing": 0.01,
        "working": 0.4,
        "storing": 0.02,
        "drawing": 0.05,
        "keeping the drawn": 0.02,
        "sealing": 0.01,
        "signing": 0.02,
        "sweeping": 0.02,
    },
}

# Stages that begin with a request, by its method and the end of its address.
ASKED = (
    ("POST", re.compile(r"/withdrawal$"), "withdrawing"),
    ("POST", re.compile(r"^/desk/runs/\w+/publish$"), "publishing"),
    ("POST", re.compile(r"^/desk/runs/\w+/return$"), "returning"),
    ("POST", re.compile(r"^/send/\w+/photos$"), "photographing"),
    ("PATCH", re.compile(r"^/api/v1/uploads/"), "taking a piece"),
)


class Armed:
    """Where a process learns that it shall die in a stage."""

    def __init__(self, role: str, folder: Path) -> None:
        self.path = folder / f"arm-{role}"

    def at(self, stage: str) -> None:
        try:
            order = json.loads(self.path.read_text())
        except (FileNotFoundError, ValueError):
            return
        if order["stage"] != stage:
            return
        self.path.unlink(missing_ok=True)
        (self.path.parent / "reached").write_text(stage)
        threading.Thread(target=self._die, args=(order["delay"],), daemon=True).start()

    @staticmethod
    def _die(delay: float) -> None:
        time.sleep(delay)
        os.kill(os.getpid(), signal.SIGKILL)


def entering(owner: Any, name: str, enter: Callable[[], None]) -> None:
    """Tell of each call of a function of ours before it is made."""
    original = getattr(owner, name)

    @functools.wraps(original)
    def wrapped(*args: Any, **named: Any) -> Any:
        enter()
        return original(*args, **named)

    setattr(owner, name, wrapped)


def arm_writes(armed: Armed) -> None:
    from sqlalchemy import Engine, event

    @event.listens_for(Engine, "begin")
    def begun(connection: Any) -> None:
        if connection.get_execution_options().get("is_writer", False):
            armed.at("writing")

    @event.listens_for(Engine, "commit")
    def committing(connection: Any) -> None:
        if connection.get_execution_options().get("is_writer", False):
            armed.at("committing")


def run_web(armed: Armed, fd: int) -> None:
    import uvicorn

    from server.actions import keep_recording, prepare_run
    from server.app import create_app
    from server.dependencies import pieces, submissions, uploaded, uploads

    entering(uploads._Sink, "__init__", lambda: armed.at("receiving"))
    entering(submissions, "keep_upload", lambda: armed.at("keeping"))
    entering(prepare_run, "reduce_described", lambda: armed.at("reducing"))
    for owner in (pieces, uploaded):
        entering(owner, "whole_file", lambda: armed.at("making it whole"))
    entering(keep_recording, "write_recording", lambda: armed.at("keeping a recording"))
    arm_writes(armed)
    app = create_app(Settings())

    async def told(scope: Any, receive: Any, send: Any) -> None:
        if scope["type"] == "http":
            for method, path, stage in ASKED:
                if scope["method"] == method and path.search(scope["path"]):
                    armed.at(stage)
        await app(scope, receive, send)

    config = uvicorn.Config(told, log_level="error", access_log=False, timeout_graceful_shutdown=5)
    uvicorn.Server(config).run(sockets=[socket.socket(fileno=fd)])


def run_worker(armed: Armed) -> None:
    from server import worker
    from server.actions import draw_photo, sign_journal, work_job

    worker.SEAL_EVERY_S = worker.SIGN_EVERY_S = 0.05
    worker.SWEEP_EVERY_S = 0.3
    sign_journal.SIGN_EVERY = timedelta(0)
    entering(worker, "take_job", lambda: armed.at("leasing"))
    entering(worker, "do_job", lambda: armed.at("working"))
    entering(work_job, "settle_run", lambda: armed.at("storing"))
    entering(work_job, "draw_leased_photo", lambda: armed.at("drawing"))
    entering(draw_photo, "_keep", lambda: armed.at("keeping the drawn"))
    entering(worker, "seal_journal", lambda: armed.at("sealing"))
    entering(worker, "sign_journal", lambda: armed.at("signing"))
    entering(worker, "sweep_files", lambda: armed.at("sweeping"))
    worker.run_worker(Settings(), threading.Event())


def main() -> None:
    bench_from_mapping(BENCH)
    for kind in kinds():
        for unit in known_units(kind):
            conversion(unit, kind)
    # Their numbers are enough: nobody waits for those that were killed.
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)
    for line in sys.stdin:
        order = json.loads(line)
        pid = os.fork()
        if pid == 0:
            os.environ.update(order["environment"])
            armed = Armed(order["role"], Path(order["environment"]["BENCHLEDGER_DATA"]).parent)
            try:
                if order["role"] == "web":
                    run_web(armed, order["fd"])
                else:
                    run_worker(armed)
            finally:
                os._exit(1)
        print(json.dumps({"pid": pid}), flush=True)


if __name__ == "__main__":
    main()
