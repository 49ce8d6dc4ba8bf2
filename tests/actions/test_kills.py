"""Killed at any moment of an upload: the whole run or none, and nothing acknowledged is lost."""

import json
import random
import subprocess
import sys
from collections.abc import Callable, Iterator
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, func, select, text

from server.actions.check_journal import check_journal
from server.actions.issue_token import issue_token
from server.actions.keep_recording import keep_missing, stored_recording
from server.actions.reduce_log import limits_of
from server.actions.seal_journal import seal_journal
from server.actions.sweep_files import sweep_files
from server.actions.work_job import do_job, take_job
from server.model.words import JobState, RunState
from server.settings import Settings
from server.store import people
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import INCOMING, ORIGINALS, RECORDINGS, original_path
from server.store.runs import run_view
from server.store.sent_logs import log_of_recording

ROOT = Path(__file__).parents[2]
UPLOAD_MOMENTS = [
    ("receiving", 1),
    ("receiving", 4),
    ("before fsync", 1),
    ("before rename", 1),
    ("after rename", 1),
    ("before fsync", 2),
    ("after reduction", 1),
    *[("before statement", n) for n in (2, 4, 8, 12, 16, 20, 24, 28, 32)],
    ("before commit", 1),
]
STORED_MOMENTS = [
    ("after commit", 1),
    ("before recording", 1),
    ("before rename", 2),
    ("after rename", 2),
]
QUEUE_MOMENTS = [("before statement", 10), ("before commit", 1), ("after commit", 1)]
WORK_MOMENTS = [
    ("before statement", 2),  # the lease itself
    ("before commit", 1),
    ("after commit", 1),
    ("before recording", 1),
    ("after reduction", 1),
    ("before rename", 1),
    ("after rename", 1),
    *[("before statement", n) for n in (8, 12, 16, 20, 24)],
    ("before commit", 2),
    ("after commit", 2),
]
N_TIMED = 8

ON_SQLITE = pytest.mark.parametrize("settings", ["sqlite"], indirect=True)
ON_POSTGRESQL = pytest.mark.parametrize(
    "settings", [pytest.param("postgresql", marks=pytest.mark.postgresql)], indirect=True
)

Kill = Callable[..., bool]


def log_text() -> str:
    """A short brake run: free running, dwells to past the peak, free again."""
    lines = ["time,voltage [V],current [A],power [W],torque [N m],speed [rad/s]"]
    rng = random.Random(7)
    at = 0.0
    for torque in (0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.0):
        for _ in range(60):
            speed = 2000.0 - 2500.0 * torque
            current = 2.0 + 18.0 * torque
            noise = 1.0 + rng.gauss(0.0, 0.001)
            power = 120.0 * current * 0.95
            row = (at, 120.0, current * noise, power * noise, torque * noise, speed * noise)
            lines.append(",".join(f"{value:.6g}" for value in row))
            at += 0.05
    return "\n".join(lines) + "\n"


@pytest.fixture(scope="module")
def killer() -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-m", "tests.actions.killed"],
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        text=True,
        cwd=ROOT,
    )
    yield process
    assert process.stdin is not None
    assert process.stdout is not None
    process.stdin.close()
    process.wait(30)
    process.stdout.close()


@pytest.fixture
def kill(killer: subprocess.Popen[str], settings: Settings, engine: Engine) -> Kill:
    """Do something in a process that is killed at a moment; True if it did not live to the end."""
    (settings.data / "log.csv").write_text(log_text())
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    (settings.data / "token").write_text(token)

    def killing(do: str, moment: str, count: int, *, after_s: float | None = None) -> bool:
        order = {
            "data": str(settings.data),
            "url": settings.database_url,
            "do": do,
            "moment": moment,
            "count": count,
            "after_s": after_s,
        }
        assert killer.stdin is not None
        assert killer.stdout is not None
        killer.stdin.write(json.dumps(order) + "\n")
        killer.stdin.flush()
        answer = json.loads(killer.stdout.readline())
        assert answer["killed"] or answer["status"] == 0, "it failed by itself"
        return bool(answer["killed"])

    return killing


def acknowledged(settings: Settings) -> str | None:
    path = settings.data / "acknowledged"
    return path.read_text() if path.exists() and path.read_text() else None


def check_whole_or_none(settings: Settings, engine: Engine) -> str | None:
    """Assert that the one run is whole, or that nothing of it is there; gives its id."""
    with read_session(engine) as session:
        ids = list(session.execute(select(t.RunRow.public_id)).scalars())
        if not ids:
            for table in (t.ApplianceRow, t.RunRevisionRow, t.MetricSetRow, t.ListingRow, t.JobRow):
                assert session.scalar(select(func.count()).select_from(table)) == 0
            assert session.scalar(select(func.count()).select_from(t.StoredFileRow)) == 0
            return None
        (public_id,) = ids
        viewer = people.tester_for_token(session, token=(settings.data / "token").read_text())
        view = run_view(session, public_id=public_id, viewer=viewer)
        kept = original_path(settings.files, view.file.sha256)
        assert kept.read_bytes() == (settings.data / "log.csv").read_bytes()
        sha256 = session.scalar(select(t.RunRevisionRow.recording_sha256))
        if view.state is RunState.WORKING:
            assert view.reduction is None
            assert session.scalar(select(t.JobRow.state)) != JobState.DONE
            return public_id
        assert view.state in (RunState.PUBLISHED, RunState.WAITING)
        assert view.reduction is not None
        assert view.reduction.metrics
        assert sha256 is not None
        log = log_of_recording(session, sha256=sha256, files=settings.files)
        assert log is not None
        recording = stored_recording(sha256, log=log, files=settings.files)
        assert len(recording.time_s) == view.n_rows
        listing = session.execute(select(t.ListingRow)).scalar_one()
        assert listing.n_runs == int(view.state is RunState.PUBLISHED)
        assert session.scalar(select(func.count()).select_from(t.MetricSetRow)) == 1
    return public_id


def check_database(engine: Engine) -> None:
    if engine.dialect.name == "sqlite":
        with engine.connect() as connection:
            assert connection.execute(text("PRAGMA integrity_check")).scalar_one() == "ok"
            assert connection.execute(text("PRAGMA foreign_key_check")).all() == []
    with write_session(engine) as session:
        seal_journal(session)
        assert list(check_journal(session)) == []


def stored_files(settings: Settings) -> list[Path]:
    folders = (INCOMING, ORIGINALS, RECORDINGS)
    found = [p for folder in folders for p in (settings.files / folder).rglob("*")]
    return [path for path in found if path.is_file()]


def check_upload(settings: Settings, engine: Engine) -> None:
    check_database(engine)
    public_id = check_whole_or_none(settings, engine)
    told = acknowledged(settings)
    assert told is None or told == public_id
    check_files_at_rest(settings, engine, n_expected=0 if public_id is None else 2)
    check_whole_or_none(settings, engine)


def check_files_at_rest(settings: Settings, engine: Engine, *, n_expected: int) -> None:
    """After the worker's housekeeping: what was left is gone, a recording that was not kept is."""
    sweep_files(engine, files=settings.files, min_age_s=-60)
    list(keep_missing(engine, files=settings.files, min_age=timedelta(0)))
    assert len(stored_files(settings)) == n_expected


@ON_SQLITE
@pytest.mark.parametrize(("moment", "count"), UPLOAD_MOMENTS + STORED_MOMENTS)
def test_an_upload_killed_at_a_stage(
    kill: Kill, settings: Settings, engine: Engine, moment: str, count: int
) -> None:
    assert kill("upload", moment, count), "this stage was not reached"
    check_upload(settings, engine)
    is_after = (moment, count) in STORED_MOMENTS
    assert (check_whole_or_none(settings, engine) is not None) == is_after


@ON_SQLITE
@pytest.mark.parametrize("nth", range(N_TIMED))
def test_an_upload_killed_after_some_time(
    kill: Kill, settings: Settings, engine: Engine, nth: int
) -> None:
    seed = random.randrange(2**32)
    print(f"seed {seed}")
    kill("upload", "never", 0, after_s=random.Random(seed).uniform(0.0, 0.5))
    check_upload(settings, engine)


@ON_POSTGRESQL
@pytest.mark.parametrize(
    ("moment", "count"), [("before statement", 20), ("before commit", 1), ("after commit", 1)]
)
def test_an_upload_killed_on_postgresql(
    kill: Kill, settings: Settings, engine: Engine, moment: str, count: int
) -> None:
    test_an_upload_killed_at_a_stage(kill, settings, engine, moment, count)


def test_an_upload_that_is_left_alone_is_whole(
    kill: Kill, settings: Settings, engine: Engine
) -> None:
    assert not kill("upload", "never", 0)
    told = acknowledged(settings)
    assert told is not None
    check_upload(settings, engine)


@ON_SQLITE
@pytest.mark.parametrize(("moment", "count"), QUEUE_MOMENTS)
def test_a_large_upload_killed_at_a_stage(
    kill: Kill, settings: Settings, engine: Engine, moment: str, count: int
) -> None:
    assert kill("queue", moment, count), "this stage was not reached"
    check_database(engine)
    found = check_whole_or_none(settings, engine)
    assert (found is not None) == (moment == "after commit")


@ON_SQLITE
@pytest.mark.parametrize(("moment", "count"), WORK_MOMENTS)
def test_a_worker_killed_at_a_stage_loses_nothing(
    kill: Kill, settings: Settings, engine: Engine, moment: str, count: int
) -> None:
    assert not kill("queue", "never", 0)
    told = acknowledged(settings)
    assert kill("work", moment, count), "this stage was not reached"
    check_database(engine)
    assert check_whole_or_none(settings, engine) == told
    lease = take_job(engine, worker="next", lease_s=60, max_tries=3)
    if lease is not None:
        do_job(engine, lease, files=settings.files, limits=limits_of(settings))
    assert check_whole_or_none(settings, engine) == told
    with read_session(engine) as session:
        assert session.scalar(select(t.RunRow.state)) != RunState.WORKING
        assert session.scalar(select(t.JobRow.state)) == JobState.DONE
    check_files_at_rest(settings, engine, n_expected=2)
    check_database(engine)
