"""Kill web and worker processes under load and see that nothing acknowledged is lost.

`python -m tests.threats.kills --kills 420` (with `--postgresql` on a database of that server, named
by BENCHLEDGER_TEST_POSTGRESQL_URL). The load is `tests/threats/load.py`, what must be true
`tests/threats/told.py`. Every stage of writing is killed in turn, and so is either process at any
moment. After each kill the process is started again.
"""

import argparse
import json
import random
import tempfile
import time
from collections import Counter
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

from server.actions.issue_token import issue_token
from server.settings import Settings
from server.store.database import make_engine, migrate, write_session
from tests.threats.load import N_ACCOUNTS, Load
from tests.threats.service import Service
from tests.threats.staged import STAGES
from tests.threats.told import check_at_rest, check_now, check_record

ANY_MOMENT = "any moment"
# Logs of more lines are stored first and reduced by the worker.
INLINE_ROWS = 150


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
        senders = {"sender": "Ada Quill"}
        for n in range(N_ACCOUNTS):
            senders |= {f"photographer {n}": f"Cy Reed {n}", f"in pieces {n}": f"Di Holt {n}"}
        tokens = {who: issue_token(session, tester=name).token for who, name in senders.items()}
        scopes = ("send", "maintain")
        tokens["maintainer"] = issue_token(session, tester="Bo Marsh", scopes=scopes).token
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
            f"{done.total()} kills: {load.told.summary()}; {counts['runs']} runs, "
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
    """Clean runs are published at once, so that there is something to take back; the first of an
    appliance waits for the desk."""
    often = "1000000/hour"
    return Settings(
        data=data,
        database_url=database_url,
        inline_rows=INLINE_ROWS,
        job_lease_s=1.0,
        job_tries=1000,
        standing_runs=0,
        look_share=0,
        first_run_waits=True,
        pool_size=4,
        limit_sign_in_by_address=often,
        limit_trial_by_account=often,
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
    parser.add_argument("--kills", type=int, default=420)
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
