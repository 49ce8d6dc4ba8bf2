"""The web process and the worker as they are served, killed while a log is sent over HTTP.

What a sender was told stays; what they were not told is there whole or not at all, and sending
again with the same key makes exactly one run of it.
"""

import json
import os
import random
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from sqlalchemy import Engine, func, select

from server.actions.issue_token import issue_token
from server.model.words import JobState, RunState
from server.settings import Settings
from server.store import tables as t
from server.store.database import make_engine, read_session, write_session
from tests.actions.test_kills import check_database, check_whole_or_none
from tests.api.logs import BENCH, small_log

ROOT = Path(__file__).parents[2]
N_KILLS = 20
pytestmark = pytest.mark.xdist_group("kill service")


def start(module: str, settings: Settings, *arguments: str, fd: int | None = None):  # type: ignore[no-untyped-def]
    return subprocess.Popen(
        [sys.executable, "-m", module, *arguments],
        pass_fds=[] if fd is None else [fd],
        cwd=ROOT,
        env={
            **os.environ,
            "BENCHLEDGER_DATA": str(settings.data),
            "BENCHLEDGER_INLINE_ROWS": str(settings.inline_rows),
            "BENCHLEDGER_JOB_LEASE_S": str(settings.job_lease_s),
        },
    )


@contextmanager
def served(settings: Settings) -> Iterator[tuple[str, subprocess.Popen[bytes]]]:
    with socket.create_server(("127.0.0.1", 0)) as listener:
        listener.set_inheritable(True)
        number = listener.fileno()
        address = f"http://127.0.0.1:{listener.getsockname()[1]}"
        web = start("server.commands.web", settings, str(number), fd=number)
    try:
        deadline = time.monotonic() + 60
        while time.monotonic() < deadline:
            try:
                if httpx.get(f"{address}/healthz", timeout=2).status_code == 200:
                    break
            except httpx.TransportError:
                assert web.poll() is None, "the web process ended while it started"
                time.sleep(0.05)
        yield address, web
    finally:
        web.kill()
        web.wait()


def send(address: str, settings: Settings) -> int | None:
    """Status of the answer, None where none came."""
    token = (settings.data / "token").read_text()
    with (settings.data / "log.csv").open("rb") as file:
        try:
            return httpx.post(
                f"{address}/api/v1/runs",
                files={"bench": (None, json.dumps(BENCH)), "file": ("log.csv", file)},
                headers={"Authorization": f"Bearer {token}", "Idempotency-Key": "the one"},
                timeout=60,
            ).status_code
        except httpx.TransportError:
            return None


@pytest.fixture
def prepared(sqlite_settings: Settings) -> Iterator[tuple[Settings, Engine]]:
    settings = sqlite_settings
    engine = make_engine(settings)
    (settings.data / "log.csv").write_text(small_log(dwell_s=4.0))
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    (settings.data / "token").write_text(token)
    yield settings, engine
    engine.dispose()


@pytest.fixture(scope="module")
def usual_time(tmp_path_factory: pytest.TempPathFactory) -> dict[str, float]:
    """Seconds that sending takes when nobody is killed; measured once, by the first test."""
    return {}


@pytest.mark.parametrize("nth", range(N_KILLS))
def test_a_web_process_killed_while_a_log_is_sent(
    prepared: tuple[Settings, Engine], usual_time: dict[str, float], nth: int
) -> None:
    settings, engine = prepared
    # A first request in a fresh process loads the numerics: a second or two, all of it in reach.
    longest = usual_time.get("send", 4.0)
    delay = longest * (nth + random.Random(nth).random()) / N_KILLS
    answers: list[int | None] = []
    with served(settings) as (address, web):
        started = time.monotonic()
        sender = threading.Thread(target=lambda: answers.append(send(address, settings)))
        sender.start()
        sender.join(delay)
        if answers:
            usual_time["send"] = 1.1 * (time.monotonic() - started)
        web.send_signal(signal.SIGKILL)
        sender.join(60)
    check_database(engine)
    public_id = check_whole_or_none(settings, engine)
    told = answers == [201]
    assert answers in ([201], [None])
    assert not told or public_id is not None, "an acknowledged run is gone"
    if nth % 5:
        return  # a fresh process for each would take minutes
    with served(settings) as (address, _):
        assert send(address, settings) in ({200, 201} if public_id is None else {200})
    again = check_whole_or_none(settings, engine)
    assert again is not None
    assert public_id in (None, again)


@pytest.mark.parametrize("nth", range(4))
def test_a_worker_killed_while_it_reduces(prepared: tuple[Settings, Engine], nth: int) -> None:
    """A large log is acknowledged before its figures exist; they come, whichever worker dies."""
    settings = prepared[0].model_copy(update={"inline_rows": 10, "job_lease_s": 1.0})
    engine = prepared[1]
    with served(settings) as (address, _):
        assert send(address, settings) == 202
    worker = start("server.commands.work", settings)
    time.sleep(0.4 * (nth + random.Random(nth).random()))
    worker.send_signal(signal.SIGKILL)
    worker.wait()
    check_database(engine)
    assert check_whole_or_none(settings, engine) is not None
    worker = start("server.commands.work", settings)
    try:
        deadline = time.monotonic() + 60
        while run_state(engine) is RunState.WORKING:
            assert time.monotonic() < deadline, "the figures never came"
            time.sleep(0.1)
    finally:
        worker.terminate()
        worker.wait(20)
    check_database(engine)
    check_whole_or_none(settings, engine)
    with read_session(engine) as session:
        assert session.scalar(select(t.JobRow.state)) == JobState.DONE
        assert session.scalar(select(func.count()).select_from(t.MetricSetRow)) == 1


def run_state(engine: Engine) -> RunState:
    with read_session(engine) as session:
        return RunState(session.execute(select(t.RunRow.state)).scalar_one())
