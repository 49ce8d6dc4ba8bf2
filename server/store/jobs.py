"""Jobs: rows that ask the worker for something. Lease, tries and parking."""

from datetime import timedelta

from sqlalchemy import ColumnElement, and_, exists, or_, select
from sqlalchemy.orm import Session

from server.model.words import JobState
from server.store.journal import now
from server.store.tables import JobRow


def has_work(session: Session) -> bool:
    """Whether a job waits or has been left; a cheap look before the write lock is taken."""
    return bool(session.execute(select(exists().where(_takeable()))).scalar_one())


def lease_job(session: Session, *, worker: str, lease_s: float) -> JobRow | None:
    """Take the oldest job that waits, or whose worker let its lease run out.

    Each taking counts as a try, so that a job which kills its worker is parked in the end.
    """
    job = session.execute(
        select(JobRow)
        .where(_takeable())
        .order_by(JobRow.id)
        .limit(1)
        .with_for_update(skip_locked=True, key_share=True)
    ).scalar_one_or_none()
    if job is None:
        return None
    at = now()
    job.state = JobState.RUNNING.value
    job.tries += 1
    job.leased_by = worker
    job.lease_until = at + timedelta(seconds=lease_s)
    job.updated_at = at
    session.flush()
    return job


def still_leased(session: Session, *, job_id: int, worker: str) -> JobRow | None:
    """The job, locked, if this worker holds its lease still; else another has taken it."""
    return session.execute(
        select(JobRow)
        .where(
            JobRow.id == job_id,
            JobRow.state == JobState.RUNNING,
            JobRow.leased_by == worker,
        )
        .with_for_update(key_share=True)
    ).scalar_one_or_none()


def end_job(job: JobRow, *, state: JobState, error: str | None = None) -> None:
    job.state = state.value
    job.error = error
    job.leased_by = None
    job.lease_until = None
    job.updated_at = now()


def parked_jobs(session: Session) -> list[JobRow]:
    """Jobs that failed for good, for maintainers to see."""
    query = select(JobRow).where(JobRow.state == JobState.PARKED).order_by(JobRow.id)
    return list(session.execute(query).scalars())


def _takeable() -> ColumnElement[bool]:
    return or_(
        JobRow.state == JobState.QUEUED,
        and_(JobRow.state == JobState.RUNNING, JobRow.lease_until < now()),
    )
