"""Kill web and worker processes under load and see that nothing acknowledged is lost.

`python -m tests.threats.kills --kills 200` (with `--postgresql` on a database of that server, named
by BENCHLEDGER_TEST_POSTGRESQL_URL). Senders send small logs, a maintainer withdraws what was
published; every stage of writing is killed in turn, and so is either process at any moment. After
each kill the process is started again and senders send again what was not acknowledged.
"""

import argparse
import json
import os
import random
import signal
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import httpx
from sqlalchemy import Engine, func, select

from server.actions.check_journal import check_journal
from server.actions.issue_token import issue_token
from server.actions.seal_journal import seal_journal
from server.actions.sweep_files import sweep_files
from server.actions.verify import verify
from server.model.checking import Fault
from server.model.words import JobState, RunState
from server.settings import Settings
from server.store import tables as t
from server.store.database import make_engine, migrate, read_session, write_session
from server.store.files import original_path
from tests.api.logs import BENCH, small_log
from tests.threats.staged import STAGES

ROOT = Path(__file__).parents[2]
ANY_MOMENT = "any moment"
N_SENDERS = 3
# Logs of more lines are stored first and reduced by the worker.
INLINE_ROWS = 150
ALIVE_WITHIN_S = 60.0


@dataclass
class Told:
    """What the service said, and so must still be true after any kill."""

    lock: threading.Lock = field(default_factory=threading.Lock)
    runs: dict[str, str] = field(default_factory=dict)  # public id -> SHA-256 of what was sent
    keys: dict[str, str] = field(default_factory=dict)  # idempotency key -> public id
    queued: dict[str, float] = field(default_factory=dict)  # left to the worker, and when
    withdrawn: dict[str, str] = field(default_factory=dict)  # public id -> the reason given
    n_lost_answers: int = 0


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


class Load:
    """Senders and a maintainer, until told to stop. What is not acknowledged is sent again."""

    def __init__(self, service: Service, tokens: dict[str, str], seed: int) -> None:
        self.told = Told()
        self.faults: list[str] = []
        self._service = service
        self._tokens = tokens
        self._seed = seed
        self._stop = threading.Event()
        self._threads = [
            threading.Thread(target=self._guard, args=(self._send, n), daemon=True)
            for n in range(N_SENDERS)
        ] + [threading.Thread(target=self._guard, args=(self._moderate, 99), daemon=True)]

    def __enter__(self) -> "Load":
        for thread in self._threads:
            thread.start()
        return self

    def __exit__(self, *_: object) -> None:
        self._stop.set()
        for thread in self._threads:
            thread.join(120)

    def _guard(self, work: Any, n: int) -> None:
        try:
            work(n)
        except Exception as error:
            self.faults.append(f"{type(error).__name__}: {error}")

    def _send(self, n: int) -> None:
        rng = random.Random(self._seed * 1000 + n)
        nth = 0
        while not self._stop.is_set():
            nth += 1
            # A few rows are reduced at once, more are left to the worker, who must keep up.
            dwell = 2.0 if rng.random() < 0.3 else 0.5
            log = small_log(dwell_s=dwell) + f"{1000 + n}.{nth:06d},0,0,1.5,120,150\n"
            self._send_until_told(f"{n}-{nth}", log.encode())
            time.sleep(rng.uniform(0.0, 0.2))

    def _send_until_told(self, key: str, log: bytes) -> None:
        import hashlib

        sha256 = hashlib.sha256(log).hexdigest()
        while not self._stop.is_set():
            answer = self._ask("sender", "/api/v1/runs", key=key, log=log)
            if answer is None:
                continue
            if answer.status_code == 503:
                time.sleep(0.05)
                continue
            assert answer.status_code in (200, 201, 202), f"{answer.status_code} {answer.text}"
            public_id = answer.json()["id"]
            with self.told.lock:
                before = self.told.keys.setdefault(key, public_id)
                assert before == public_id, f"one key, two runs: {before} and {public_id}"
                self.told.runs[public_id] = sha256
                if answer.status_code == 202:
                    self.told.queued.setdefault(public_id, time.monotonic())
            return

    def _moderate(self, n: int) -> None:
        rng = random.Random(self._seed * 1000 + n)
        nth = 0
        while not self._stop.is_set():
            with self.told.lock:
                # Those that the worker has are left to it for a while.
                recent = time.monotonic() - rng.uniform(0.0, 15.0)
                done = {*self.told.withdrawn}
                done |= {one for one, at in self.told.queued.items() if at > recent}
                open_ids = sorted(set(self.told.runs) - done)
            if not open_ids:
                time.sleep(0.02)
                continue
            nth += 1
            public_id, reason = rng.choice(open_ids), f"Act {nth}: the belt slipped."
            answer = self._ask("maintainer", f"/api/v1/runs/{public_id}/withdrawal", reason=reason)
            # 409: an act whose answer was lost had been done.
            if answer is not None and answer.status_code in (201, 409):
                with self.told.lock:
                    self.told.withdrawn[public_id] = reason if answer.status_code == 201 else ""
            time.sleep(0.1)

    def _ask(
        self,
        who: str,
        path: str,
        *,
        key: str | None = None,
        log: bytes | None = None,
        reason: str | None = None,
    ) -> httpx.Response | None:
        headers = {"Authorization": f"Bearer {self._tokens[who]}"}
        address = f"{self._service.address}{path}"
        try:
            if log is None:
                return httpx.post(address, json={"reason": reason}, headers=headers, timeout=20)
            headers |= {
                "Idempotency-Key": key or "",
                "Content-Type": "multipart/form-data; boundary=x",
            }
            return httpx.post(address, content=_slowly(log), headers=headers, timeout=20)
        except (httpx.TransportError, OSError):
            with self.told.lock:
                self.told.n_lost_answers += 1
            time.sleep(0.03)
            return None


def _slowly(log: bytes) -> Iterator[bytes]:
    """The body in pieces, as a network brings it."""
    yield (
        b'--x\r\nContent-Disposition: form-data; name="bench"\r\n\r\n'
        + json.dumps(BENCH).encode()
        + b'\r\n--x\r\nContent-Disposition: form-data; name="file"; filename="run.csv"\r\n\r\n'
    )
    step = len(log) // 6 + 1
    for start in range(0, len(log), step):
        time.sleep(0.015)
        yield log[start : start + step]
    yield b"\r\n--x--\r\n"


def check_now(engine: Engine, settings: Settings, told: Told) -> None:
    """What was acknowledged up to now is there, and the chain is whole."""
    with told.lock:
        runs, withdrawn = dict(told.runs), dict(told.withdrawn)
    revision, run = t.RunRevisionRow, t.RunRow
    with read_session(engine) as session:
        rows = session.execute(
            select(run.public_id, run.state, revision.file_sha256).join(
                revision, revision.id == run.current_revision_id
            )
        ).all()
        there = {row.public_id: row for row in rows}
        for public_id, sha256 in runs.items():
            assert public_id in there, f"run {public_id} was acknowledged and is gone"
            assert there[public_id].file_sha256 == sha256
            assert original_path(settings.files, sha256).is_file()
        for public_id in withdrawn:
            assert there[public_id].state == RunState.WITHDRAWN, "an act was acknowledged and lost"
        assert [one for one in check_journal(session) if isinstance(one, Fault)] == []


def check_at_rest(engine: Engine, settings: Settings, told: Told) -> None:
    """All jobs done, no run without its figures, reasons kept, no orphan, the record sound."""
    deadline = time.monotonic() + 120
    open_jobs = (JobState.QUEUED, JobState.RUNNING)
    while True:
        with read_session(engine) as session:
            n = session.scalar(
                select(func.count()).select_from(t.JobRow).where(t.JobRow.state.in_(open_jobs))
            )
        if not n:
            break
        assert time.monotonic() < deadline, f"{n} jobs are never done"
        time.sleep(0.1)
    check_now(engine, settings, told)
    with read_session(engine) as session:
        parked = session.scalar(
            select(func.count()).select_from(t.JobRow).where(t.JobRow.state == JobState.PARKED)
        )
        reasons = set(session.execute(select(t.PersonTextRow.text)).scalars())
        keys = session.execute(select(t.RunRow.idempotency_key)).scalars().all()
    assert parked == 0, f"{parked} jobs were given up"
    assert {reason for reason in told.withdrawn.values() if reason} <= reasons
    assert len(keys) == len(set(keys)), "one key made two runs"


def check_record(engine: Engine, settings: Settings) -> Counter[str]:
    """Nothing runs any more: sealed, swept, then verified with nothing excused as on its way."""
    while True:
        with write_session(engine) as session:
            if seal_journal(session) == 0:
                break
    sweep_files(engine, files=settings.files, min_age_s=-60)
    found = list(verify(engine, data=settings.data, files=settings.files, orphan_age_s=-60))
    faults = [str(one) for one in found if isinstance(one, Fault)]
    assert faults == [], "\n".join(faults)
    with read_session(engine) as session:
        return Counter(
            {
                "runs": session.scalar(select(func.count()).select_from(t.RunRow)) or 0,
                "seals": session.scalar(select(func.count()).select_from(t.AuditSealRow)) or 0,
                "heads": session.scalar(select(func.count()).select_from(t.AuditHeadRow)) or 0,
            }
        )


def plan(n: int, rng: random.Random) -> list[tuple[str, str]]:
    """Which process dies in which stage: all stages in turn, and any moment of either."""
    every = [(role, stage) for role, stages in STAGES.items() for stage in stages]
    every += [("web", ANY_MOMENT), ("worker", ANY_MOMENT)]
    rng.shuffle(every)
    return [every[i % len(every)] for i in range(n)]


def kill_once(
    service: Service, role: str, stage: str, rng: random.Random, *, within_s: float = 20.0
) -> bool:
    """Let a process die in a stage, and start it again; False where it was not reached."""
    arm = service.settings.data.parent / f"arm-{role}"
    if stage == ANY_MOMENT:
        time.sleep(rng.uniform(0.0, 0.5))
        service.kill(role)
    else:
        delay = rng.uniform(0.0, STAGES[role][stage])
        temporary = arm.with_suffix(".new")
        temporary.write_text(json.dumps({"stage": stage, "delay": delay}))
        temporary.rename(arm)
    deadline = time.monotonic() + within_s
    while service.is_alive(role):
        if time.monotonic() > deadline:
            if arm.exists():
                arm.unlink(missing_ok=True)
                return False
            raise AssertionError(f"{role} took the order to die {stage} and lives")
        time.sleep(0.005)
    service.start(role)
    if role == "web":
        service.wait_until_up()
    return True


def run_kills(
    settings: Settings, environment: dict[str, str], *, kills: int, seed: int, say: Any = print
) -> Counter[str]:
    """Do it; gives how often each stage was killed. Raises AssertionError for what was lost."""
    rng = random.Random(seed)
    engine = make_engine(settings)
    with write_session(engine) as session:
        tokens = {
            "sender": issue_token(session, tester="Ada Quill").token,
            "maintainer": issue_token(
                session, tester="Bo Marsh", scopes=("send", "maintain")
            ).token,
        }
    service = Service(settings, environment)
    done: Counter[str] = Counter()
    try:
        for role in STAGES:
            service.start(role)
        service.wait_until_up()
        with Load(service, tokens, seed) as load:
            queue = plan(kills, rng)
            missed = 0
            while queue:
                role, stage = queue.pop(0)
                if not kill_once(service, role, stage, rng):
                    missed += 1
                    say(f"not reached: {role} {stage}")
                    assert missed < 20, f"{role} never gets to {stage}"
                    queue.append((role, stage))
                    continue
                done[f"{role}: {stage}"] += 1
                assert load.faults == [], load.faults
                if done.total() % 5 == 0:
                    check_now(engine, settings, load.told)
                    say(f"{done.total()} kills, {len(load.told.runs)} runs acknowledged")
        assert load.faults == [], load.faults
        check_at_rest(engine, settings, load.told)
        service.end()
        counts = check_record(engine, settings)
        say(
            f"{done.total()} kills: {len(load.told.runs)} uploads and "
            f"{len(load.told.withdrawn)} moderation acts acknowledged, none lost; "
            f"{load.told.n_lost_answers} answers lost on the way; {counts['runs']} runs, "
            f"{counts['seals']} seals, {counts['heads']} heads, record sound."
        )
    finally:
        if service.pids and service._zygote.poll() is None:
            service.end()
        engine.dispose()
    return done


def environment_of(settings: Settings) -> dict[str, str]:
    return {
        **{
            f"BENCHLEDGER_{name.upper()}": str(value)
            for name, value in settings.model_dump().items()
            if value is not None
        },
        "OPENBLAS_NUM_THREADS": "1",
    }


def kill_settings(data: Path, *, database_url: str | None = None) -> Settings:
    """Clean runs are published at once, so that there is something to take back."""
    return Settings(
        data=data,
        database_url=database_url,
        inline_rows=INLINE_ROWS,
        job_lease_s=1.0,
        job_tries=1000,
        standing_runs=0,
        look_share=0,
        first_run_waits=False,
        pool_size=4,
    )


@contextmanager
def database(is_postgresql: bool) -> Iterator[str | None]:
    if not is_postgresql:
        yield None
        return
    from tests.conftest import postgresql_database

    with postgresql_database() as url:
        yield url


def main() -> None:
    parser = argparse.ArgumentParser(description=(__doc__ or "").splitlines()[0])
    parser.add_argument("--kills", type=int, default=200)
    parser.add_argument("--seed", type=int, default=random.randrange(2**32))
    parser.add_argument("--postgresql", action="store_true")
    given = parser.parse_args()
    print(f"seed {given.seed}", flush=True)
    with tempfile.TemporaryDirectory() as folder, database(given.postgresql) as url:
        settings = kill_settings(Path(folder) / "data", database_url=url)
        settings.data.mkdir()
        migrate(settings)
        started = time.monotonic()
        done = run_kills(
            settings,
            environment_of(settings),
            kills=given.kills,
            seed=given.seed,
            say=lambda text: print(text, flush=True),
        )
        for stage, n in sorted(done.items()):
            print(f"{n:4d}  {stage}")
        print(f"{time.monotonic() - started:.0f} s")


if __name__ == "__main__":
    main()
