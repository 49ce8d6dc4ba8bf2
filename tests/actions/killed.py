"""A process that takes an upload, or works a job, and is killed at a named moment.

Started by test_kills.py as `python -m tests.actions.killed`; it reads one JSON order a line and
forks for each, so that the libraries are loaded once. Nothing in the service knows of it: the
moments are hooks that are put on here.

An order: {"data", "url", "do": "upload" | "work", "moment", "count"}; the answer: "done" once the
child has ended. The child writes "acknowledged" to data/acknowledged after its commit, as an
answer to a sender would go out then.
"""

import hashlib
import json
import os
import signal
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import scipy.signal  # noqa: F401  loaded before the fork
from sqlalchemy import event

from server.actions import work_job
from server.actions.keep_recording import keep_recording
from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.submit_run import submit_run
from server.intake import read_bench
from server.settings import Settings
from server.store import files as stored
from server.store.database import make_engine, read_session, write_session
from server.store.people import tester_for_token

BENCH = b"""
[plate]
voltage = "120 V"
supply = "AC"
current = "10 A"
[appliance]
maker = "Millbeck"
model = "WD 30"
category = "wet/dry vacuum"
[[claim]]
quantity = "power"
value = "5 hp"
wording = "5 peak hp"
"""


def die() -> None:
    os.kill(os.getpid(), signal.SIGKILL)


class Countdown:
    """Dies the `count`-th time it is asked."""

    def __init__(self, count: int) -> None:
        self.left = count

    def tick(self) -> None:
        self.left -= 1
        if self.left == 0:
            die()


def around(owner: Any, name: str, *, before: Callable[[], None], after: Callable[[], None]) -> None:
    original = getattr(owner, name)

    def wrapped(*args: Any, **named: Any) -> Any:
        before()
        result = original(*args, **named)
        after()
        return result

    setattr(owner, name, wrapped)


def nothing() -> None:
    return


def arm(engine: Any, moment: str, count: int) -> Countdown:
    """Set the hooks of a moment; what is reached at most is "never"."""
    countdown = Countdown(count)
    tick = countdown.tick
    if moment == "before rename":
        around(Path, "rename", before=tick, after=nothing)
    elif moment == "after rename":
        around(Path, "rename", before=nothing, after=tick)
    elif moment == "before fsync":
        around(stored, "make_durable", before=tick, after=nothing)
    elif moment == "before statement":
        event.listen(engine, "before_cursor_execute", lambda *_: tick())
    elif moment == "before commit":
        around(engine.dialect, "do_commit", before=tick, after=nothing)
    elif moment == "after commit":
        around(engine.dialect, "do_commit", before=nothing, after=tick)
    elif moment == "before recording":
        import server.actions.keep_recording as module

        around(module, "write_recording", before=tick, after=nothing)
    elif moment == "after reduction":
        from server.actions import prepare_run as reducing

        around(reducing, "reduce_described", before=nothing, after=tick)
    return countdown


def receive(settings: Settings, countdown: Countdown, moment: str) -> stored.StoredUpload:
    """What a server does with a body: written piece by piece while it is hashed."""
    content = (settings.data / "log.csv").read_bytes()
    temporary = stored.incoming_path(settings.files)
    digest = hashlib.sha256()
    piece = len(content) // 4 + 1
    with temporary.open("wb") as file:
        for start in range(0, len(content), piece):
            if moment == "receiving":
                countdown.tick()
            block = content[start : start + piece]
            file.write(block)
            digest.update(block)
    return stored.keep_upload(
        settings.files,
        temporary,
        name="log.csv",
        sha256=digest.hexdigest(),
        n_bytes=len(content),
    )


def upload(settings: Settings, engine: Any, countdown: Countdown, moment: str) -> None:
    with read_session(engine) as session:
        tester = tester_for_token(session, token=(settings.data / "token").read_text())
    assert tester is not None
    sent = receive(settings, countdown, moment)
    bench = read_bench(BENCH)
    prepared = prepare_run(
        sent.path,
        file_name=sent.name,
        bench=bench,
        limits=limits_of(settings),
        sha256=sent.sha256,
    )
    with write_session(engine) as session:
        done = submit_run(session, prepared=prepared, upload=sent, bench=bench, tester=tester)
    acknowledge(settings, done.public_id)
    recording, sha256 = prepared.log.recording, prepared.recording_sha256
    keep_recording(recording, sha256=sha256, files=settings.files)


def queue(settings: Settings, engine: Any, countdown: Countdown, moment: str) -> None:
    """A large log: stored without figures, for the worker."""
    with read_session(engine) as session:
        tester = tester_for_token(session, token=(settings.data / "token").read_text())
    assert tester is not None
    sent = receive(settings, countdown, moment)
    with write_session(engine) as session:
        done = submit_run(
            session, prepared=None, upload=sent, bench=read_bench(BENCH), tester=tester
        )
    acknowledge(settings, done.public_id)


def work(settings: Settings, engine: Any) -> None:
    lease = work_job.take_job(engine, worker="killed", lease_s=0.0, max_tries=100)
    assert lease is not None
    work_job.do_job(engine, lease, files=settings.files, limits=limits_of(settings))


def acknowledge(settings: Settings, public_id: str) -> None:
    (settings.data / "acknowledged").write_text(public_id)


def child(order: dict[str, Any]) -> None:
    settings = Settings(data=Path(order["data"]), database_url=order["url"])
    engine = make_engine(settings)
    moment = order["moment"]
    countdown = arm(engine, moment, order["count"])
    if order["do"] == "upload":
        upload(settings, engine, countdown, moment)
    elif order["do"] == "queue":
        queue(settings, engine, countdown, moment)
    else:
        work(settings, engine)
    engine.dispose()


def main() -> None:
    for line in sys.stdin:
        order = json.loads(line)
        pid = os.fork()
        if pid == 0:
            try:
                child(order)
            finally:
                os._exit(0 if sys.exc_info()[0] is None else 1)
        if order.get("after_s") is not None:
            signal.sigtimedwait([signal.SIGCHLD], order["after_s"])
            os.kill(pid, signal.SIGKILL)
        _, status = os.waitpid(pid, 0)
        print(json.dumps({"killed": os.WIFSIGNALED(status), "status": status}), flush=True)


if __name__ == "__main__":
    signal.pthread_sigmask(signal.SIG_BLOCK, [signal.SIGCHLD])
    main()
