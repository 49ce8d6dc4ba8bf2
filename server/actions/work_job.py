"""Do the oldest job: make the figures of a run that was stored without."""

from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.draw_photo import draw_leased_photo, refuse_photo
from server.actions.keep_recording import keep_recording
from server.actions.move_run import move_run
from server.actions.prepare_run import PreparedRun, prepare_run
from server.actions.settle_run import AT_ONCE, fill_in_reading, settle_run
from server.errors import BenchledgerError
from server.intake import ReadLimits
from server.model.publishing import PublishingRule
from server.model.words import JobState, RunState
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.jobs import end_job, has_work, lease_job, still_leased
from server.store.journal import SYSTEM
from server.store.sent_logs import log_of_run


@dataclass(frozen=True, slots=True)
class Lease:
    """A job that this worker has taken."""

    job_id: int
    worker: str
    run_id: int | None
    tries: int
    photo_id: int | None = None


def take_job(engine: Engine, *, worker: str, lease_s: float, max_tries: int) -> Lease | None:
    """Lease the oldest job; None if there is none.

    A job whose worker vanished on the last try is parked here, its run failed: else a log that
    kills its worker would come back for ever.
    """
    with read_session(engine) as session:
        if not has_work(session):
            return None
    with write_session(engine) as session:
        job = lease_job(session, worker=worker, lease_s=lease_s)
        if job is None:
            return None
        if job.tries > max_tries:
            _give_up(session, job, reason="the worker ended while making its figures")
            return None
        return Lease(job.id, worker, job.run_id, job.tries, job.photo_id)


def do_job(
    engine: Engine,
    lease: Lease,
    *,
    files: Path,
    limits: ReadLimits,
    rule: PublishingRule = AT_ONCE,
) -> None:
    """Make a leased run's figures and store them, in a write of its own.

    A log that can't be used fails its run, with the reason; the job is done then.

    Raises
    ------
    Anything else that goes wrong; the caller gives the job back with `put_back`.
    """
    if lease.photo_id is not None:
        draw_leased_photo(
            engine,
            job_id=lease.job_id,
            worker=lease.worker,
            photo_id=lease.photo_id,
            files=files,
        )
        return
    assert lease.run_id is not None  # a job is about a run or a photograph
    with read_session(engine) as session:
        log = log_of_run(session, run_id=lease.run_id, files=files)
    try:
        prepared = prepare_run(
            log.path,
            file_name=log.file_name,
            bench=log.bench,
            limits=limits,
            sha256=log.file_sha256,
        )
    except BenchledgerError as refusal:
        with write_session(engine) as session:
            job = still_leased(session, job_id=lease.job_id, worker=lease.worker)
            if job is not None:
                _fail_run(session, run_id=lease.run_id, reason=str(refusal))
                end_job(job, state=JobState.DONE)
        return
    with write_session(engine) as session:
        job = still_leased(session, job_id=lease.job_id, worker=lease.worker)
        if job is not None:
            _settle(session, run_id=lease.run_id, prepared=prepared, rule=rule)
            end_job(job, state=JobState.DONE)
    keep_recording(prepared.log.recording, sha256=prepared.recording_sha256, files=files)


def put_back(engine: Engine, lease: Lease, *, error: BaseException, max_tries: int) -> JobState:
    """Give a job back after a failure: it waits again, or is parked after the last try.

    Returns
    -------
    Where the job stands now.
    """
    reason = f"{type(error).__name__}: {error}"
    with write_session(engine) as session:
        job = still_leased(session, job_id=lease.job_id, worker=lease.worker)
        if job is None:
            return JobState.RUNNING
        if lease.tries >= max_tries:
            _give_up(session, job, reason=reason)
        else:
            end_job(job, state=JobState.QUEUED, error=reason)
        return JobState(job.state)


def _give_up(session: Session, job: t.JobRow, *, reason: str) -> None:
    end_job(job, state=JobState.PARKED, error=reason)
    if job.photo_id is not None:
        told = "It could not be drawn. The maintainers see why."
        refuse_photo(session, photo_id=job.photo_id, reason=told)
    if job.run_id is not None:
        told = "Its figures could not be made. The maintainers see why."
        _fail_run(session, run_id=job.run_id, reason=told)


def _settle(session: Session, *, run_id: int, prepared: PreparedRun, rule: PublishingRule) -> None:
    run = _locked(session, run_id)
    if run.state != RunState.WORKING:  # withdrawn meanwhile
        return
    assert run.current_revision_id is not None
    revision = session.get_one(t.RunRevisionRow, run.current_revision_id)
    fill_in_reading(session, revision=revision, prepared=prepared)
    settle_run(
        session,
        run=run,
        revision=revision,
        reduction=prepared.reduction,
        input_digest=prepared.input_digest,
        rule=rule,
    )


def _fail_run(session: Session, *, run_id: int, reason: str) -> None:
    run = _locked(session, run_id)
    if run.state == RunState.WORKING:
        move_run(session, run=run, to=RunState.FAILED, actor=SYSTEM, failure=reason)


def _locked(session: Session, run_id: int) -> t.RunRow:
    return session.execute(
        select(t.RunRow).where(t.RunRow.id == run_id).with_for_update(key_share=True)
    ).scalar_one()
