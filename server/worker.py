"""The worker: takes jobs, seals the journal, sweeps what is left behind."""

import logging
import os
import time
from dataclasses import dataclass
from datetime import datetime
from threading import Event

from sqlalchemy import Engine
from sqlalchemy.exc import OperationalError

from server.actions.discard_draft import discard_old_drafts
from server.actions.forget_contacts import forget_contacts
from server.actions.keep_photo import remove_loose_photos
from server.actions.keep_recording import keep_missing
from server.actions.one_time import forget_old_secrets
from server.actions.publish_due import publish_due_runs
from server.actions.reduce_log import limits_of
from server.actions.seal_journal import seal_journal
from server.actions.sign_in import end_expired_sessions
from server.actions.sign_journal import publish_heads, sign_journal
from server.actions.sweep_files import sweep_files
from server.actions.sweep_visits import end_expired_visits
from server.actions.update_live_test import remove_expired_tests
from server.actions.upload_in_pieces import sweep_uploads
from server.actions.work_job import do_job, put_back, take_job
from server.errors import BenchledgerError
from server.model.words import JobState
from server.settings import Settings
from server.store.database import make_engine, read_session, tidy, write_session
from server.store.identity import new_public_id
from server.store.journal import now

log = logging.getLogger("benchledger.worker")

SEAL_EVERY_S = 2.0
# How often it is asked whether the day's head is due.
SIGN_EVERY_S = 60.0
SWEEP_EVERY_S = 600.0


@dataclass(slots=True)
class _Due:
    """When each part of the housekeeping comes next (monotonic), and when the last sweep was."""

    seal: float = 0.0
    sign: float = 0.0
    sweep: float = 0.0
    swept_at: datetime | None = None


def run_worker(settings: Settings, stop: Event, *, parent_pid: int | None = None) -> None:
    """Work until `stop` is set, or until the parent process is gone where one is named."""
    engine = make_engine(settings)
    name = f"{os.getpid()}-{new_public_id()}"
    due = _Due()
    try:
        while not stop.is_set():
            if parent_pid is not None and os.getppid() != parent_pid:
                return
            if not _turn(engine, settings, name, due):
                stop.wait(settings.job_poll_s)
    finally:
        engine.dispose()


def _turn(engine: Engine, settings: Settings, name: str, due: _Due) -> bool:
    """One turn; True if there was a job, so that the next is looked for at once."""
    try:
        had_job = work_once(engine, settings, worker=name)
        _keep_house(engine, settings, due)
    except OperationalError as error:
        # The database is away or locked for longer than we wait: it comes back, or the operator
        # reads this.
        log.error("the database can't be used just now: %s", error)
        time.sleep(settings.job_poll_s)
        return False
    return had_job


def work_once(engine: Engine, settings: Settings, *, worker: str) -> bool:
    """Take and do one job; False if there was none."""
    lease = take_job(
        engine, worker=worker, lease_s=settings.job_lease_s, max_tries=settings.job_tries
    )
    if lease is None:
        return False
    try:
        do_job(
            engine,
            lease,
            files=settings.files,
            limits=limits_of(settings),
            rule=settings.publishing_rule,
        )
    except Exception as error:  # whatever it is, the job must be given back or parked
        log.exception("job %d failed (try %d)", lease.job_id, lease.tries)
        state = put_back(engine, lease, error=error, max_tries=settings.job_tries)
        if state is JobState.PARKED:
            log.error("job %d is parked", lease.job_id)
    return True


def _keep_house(engine: Engine, settings: Settings, due: _Due) -> None:
    """What is due. A part that fails comes again in its own time and holds up no other."""
    at = time.monotonic()
    if at >= due.seal:
        due.seal = at + SEAL_EVERY_S
        with write_session(engine) as session:
            seal_journal(session)
    if at >= due.sign:
        due.sign = at + SIGN_EVERY_S
        sign_when_due(engine, settings)
    if at >= due.sweep:
        due.sweep = at + SWEEP_EVERY_S
        begun = now()
        keep_house(engine, settings, since=due.swept_at)
        due.swept_at = begun  # not where it failed: what was missing then is looked for again


def sign_when_due(engine: Engine, settings: Settings) -> None:
    """Sign the journal's newest seal where a day has passed, and publish it."""
    try:
        with write_session(engine) as session:
            sign_journal(session, data=settings.data, at=now())
    except BenchledgerError as refusal:
        log.error("no head of the journal was signed: %s", refusal)
    with read_session(engine) as session:
        publish_heads(session, data=settings.data)


def keep_house(engine: Engine, settings: Settings, *, since: datetime | None = None) -> None:
    """End what has expired, remove files that nothing refers to, make recordings that are missing.

    `since`: when it was last done.
    """
    with write_session(engine) as session:
        end_expired_sessions(session)
        publish_due_runs(session, today=now().date())
        forget_contacts(session)
        discard_old_drafts(session)
        remove_expired_tests(session)
        sweep_uploads(session, files=settings.files)
        end_expired_visits(session)
        remove_loose_photos(session)
        forget_old_secrets(session)
    tidy(engine)
    removed = sweep_files(engine, files=settings.files)
    if removed:
        log.info("removed %d files that nothing referred to", removed)
    for told in keep_missing(engine, files=settings.files, since=since):
        log.warning(told)
