"""Have the figures of a run made again whose job was parked."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.decide_run import decided_on
from server.actions.move_run import move_run
from server.errors import Conflict
from server.model.views import Tester
from server.model.words import JobState, RunState
from server.store import tables as t
from server.store.journal import by, now


def retry_run(session: Session, *, public_id: str, version: int, maintainer: Tester) -> None:
    """Put a parked job back in the queue, its tries counted anew; the run is worked on again.

    Raises
    ------
    Conflict: none of the run's jobs is parked. NotFound, NotAllowed, Conflict: as for every
        decision on a run.
    """
    run = decided_on(session, public_id=public_id, version=version, maintainer=maintainer)
    job = session.scalars(
        select(t.JobRow)
        .where(t.JobRow.run_id == run.id, t.JobRow.state == JobState.PARKED.value)
        .order_by(t.JobRow.id.desc())
        .limit(1)
        .with_for_update(key_share=True)
    ).first()
    if job is None:
        raise Conflict("No job of this run is parked.")
    move_run(session, run=run, to=RunState.WORKING, actor=by(maintainer))
    job.state = JobState.QUEUED.value
    job.tries = 0
    job.error = None
    job.updated_at = now()
