"""The worker: takes jobs, gives them back, parks them, keeps house."""

import os
import threading
import time
from collections.abc import Callable
from datetime import timedelta

import pytest
from sqlalchemy import Engine, select, update

from server import worker
from server.actions import work_job
from server.actions.prepare_run import PreparedRun
from server.actions.submit_run import submit_run
from server.actions.withdraw_run import withdraw_run
from server.errors import Problem, UnusableLog
from server.model.results import Reduction
from server.model.views import RunView, Tester
from server.model.words import JobState, RunState
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.journal import now
from server.store.runs import run_view
from server.worker import keep_house, run_worker, work_once
from tests.actions.examples import (
    ERROR,
    example_bench,
    example_prepared,
    example_reduction,
    example_upload,
)


@pytest.fixture
def waiting(settings: Settings, engine: Engine, tester: Tester) -> str:
    """A run that waits for its figures."""
    upload = example_upload(settings.files)
    with write_session(engine) as session:
        return submit_run(
            session, prepared=None, upload=upload, bench=example_bench(), tester=tester
        ).public_id


@pytest.fixture
def figures(settings: Settings, monkeypatch: pytest.MonkeyPatch) -> Callable[[Reduction], None]:
    """Let `prepare_run` give these figures: the numerics have tests of their own."""

    def give(reduction: Reduction) -> None:
        def prepare(*_: object, **named: object) -> PreparedRun:
            bench = named["bench"]
            upload = example_upload(settings.files)
            return example_prepared(settings.files, upload, bench, reduction=reduction)  # type: ignore[arg-type]

        monkeypatch.setattr(work_job, "prepare_run", prepare)

    return give


def look(engine: Engine, public_id: str, tester: Tester) -> RunView:
    with read_session(engine) as session:
        return run_view(session, public_id=public_id, viewer=tester)


def jobs(engine: Engine) -> list[t.JobRow]:
    with read_session(engine) as session:
        return list(session.execute(select(t.JobRow)).scalars())


def test_a_job_makes_the_figures_and_publishes(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    waiting: str,
    figures: Callable[[Reduction], None],
) -> None:
    figures(example_reduction())
    assert work_once(engine, settings, worker="w")
    view = look(engine, waiting, tester)
    assert view.state is RunState.PUBLISHED
    assert view.reduction == example_reduction()
    assert view.n_rows == 3
    assert [job.state for job in jobs(engine)] == [JobState.DONE]
    assert not work_once(engine, settings, worker="w")


def test_figures_with_an_error_finding_wait(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    waiting: str,
    figures: Callable[[Reduction], None],
) -> None:
    figures(example_reduction(findings=(ERROR,)))
    work_once(engine, settings, worker="w")
    assert look(engine, waiting, tester).state is RunState.WAITING


def test_a_log_that_cannot_be_used_fails_its_run_with_the_reason(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    waiting: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def refuse(*_: object, **__: object) -> PreparedRun:
        raise UnusableLog("run.csv", [Problem("not a number.", "Write one.", row=7)])

    monkeypatch.setattr(work_job, "prepare_run", refuse)
    work_once(engine, settings, worker="w")
    view = look(engine, waiting, tester)
    assert view.state is RunState.FAILED
    assert view.failure is not None
    assert "row 7" in view.failure
    assert [job.state for job in jobs(engine)] == [JobState.DONE]


def test_the_third_failure_parks_the_job(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    waiting: str,
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    def break_down(*_: object, **__: object) -> PreparedRun:
        raise MemoryError("no room")

    monkeypatch.setattr(work_job, "prepare_run", break_down)
    states = []
    for _ in range(3):
        assert work_once(engine, settings, worker="w")
        states.append(jobs(engine)[0].state)
    assert states == [JobState.QUEUED, JobState.QUEUED, JobState.PARKED]
    assert jobs(engine)[0].error == "MemoryError: no room"
    assert look(engine, waiting, tester).state is RunState.FAILED
    assert not work_once(engine, settings, worker="w")


def expire_leases(engine: Engine) -> None:
    with write_session(engine) as session:
        session.execute(update(t.JobRow).values(lease_until=now() - timedelta(seconds=1)))


def test_a_job_whose_worker_vanished_is_taken_again(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    waiting: str,
    figures: Callable[[Reduction], None],
) -> None:
    figures(example_reduction())
    lease = work_job.take_job(engine, worker="gone", lease_s=300, max_tries=3)
    assert lease is not None
    assert not work_once(engine, settings, worker="w"), "its lease has not run out"
    expire_leases(engine)
    assert work_once(engine, settings, worker="w")
    assert look(engine, waiting, tester).state is RunState.PUBLISHED


def test_a_job_that_kills_its_workers_is_parked(
    settings: Settings, engine: Engine, tester: Tester, waiting: str
) -> None:
    for n in range(3):
        lease = work_job.take_job(engine, worker=f"w{n}", lease_s=300, max_tries=3)
        assert lease is not None
        expire_leases(engine)
    assert not work_once(engine, settings, worker="last")
    assert [job.state for job in jobs(engine)] == [JobState.PARKED]
    assert look(engine, waiting, tester).state is RunState.FAILED


def test_a_worker_that_lost_its_lease_stores_nothing(
    settings: Settings, engine: Engine, waiting: str, figures: Callable[[Reduction], None]
) -> None:
    from server.actions.reduce_log import limits_of

    figures(example_reduction())
    slow = work_job.take_job(engine, worker="slow", lease_s=300, max_tries=3)
    assert slow is not None
    expire_leases(engine)
    assert work_once(engine, settings, worker="quick")
    work_job.do_job(engine, slow, files=settings.files, limits=limits_of(settings))
    with read_session(engine) as session:
        assert len(session.execute(select(t.MetricSetRow)).all()) == 1


def test_a_run_withdrawn_meanwhile_stays_withdrawn(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    waiting: str,
    figures: Callable[[Reduction], None],
) -> None:
    figures(example_reduction())
    with write_session(engine) as session:
        withdraw_run(session, public_id=waiting, tester=tester)
    assert work_once(engine, settings, worker="w")
    assert look(engine, waiting, tester).state is RunState.WITHDRAWN


def test_it_stops_when_told_and_seals_the_journal_before(
    settings: Settings, engine: Engine, waiting: str, figures: Callable[[Reduction], None]
) -> None:
    figures(example_reduction())
    stop = threading.Event()
    thread = threading.Thread(target=run_worker, args=(settings, stop))
    thread.start()
    deadline = time.monotonic() + 30
    while time.monotonic() < deadline:
        with read_session(engine) as session:
            n_seals = len(session.execute(select(t.AuditSealRow.id)).all())
        if n_seals and jobs(engine)[0].state == JobState.DONE:
            break
        time.sleep(0.05)
    stop.set()
    thread.join(30)
    assert not thread.is_alive()
    assert n_seals > 0
    assert [job.state for job in jobs(engine)] == [JobState.DONE]


def test_it_ends_with_its_parent(settings: Settings) -> None:
    stop = threading.Event()
    run_worker(settings, stop, parent_pid=os.getppid() + 1)
    assert not stop.is_set(), "it came back by itself"


def test_a_database_that_is_away_is_no_end(
    sqlite_settings: Settings, monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    from sqlalchemy.exc import OperationalError

    def away(*_: object, **__: object) -> bool:
        raise OperationalError("SELECT 1", {}, Exception("connection refused"))

    monkeypatch.setattr(worker, "work_once", away)
    engine = worker.make_engine(sqlite_settings)
    assert not worker._turn(engine, sqlite_settings, "w", worker._Due())
    engine.dispose()
    assert "can't be used just now" in caplog.text


def test_keeping_house_ends_what_has_expired(
    settings: Settings, engine: Engine, tester: Tester
) -> None:
    from server.actions.issue_token import issue_token
    from server.actions.sign_in import sign_in_with_token

    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
        sign_in_with_token(session, token=token, hours=-1)
        sign_in_with_token(session, token=token, hours=1)
    keep_house(engine, settings)
    with read_session(engine) as session:
        assert len(session.execute(select(t.WebSessionRow)).all()) == 1
