"""Publish what was looked at and waited for its date."""

from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.move_run import move_run
from server.model.words import RunState
from server.store.journal import SYSTEM
from server.store.tables import RunRow


def publish_due_runs(session: Session, *, today: date) -> int:
    """Publish accepted runs whose date has come (UTC); how many."""
    due = session.execute(
        select(RunRow)
        .where(
            RunRow.state == RunState.WAITING,
            RunRow.accepted_at.is_not(None),
            RunRow.not_before <= today,
        )
        .order_by(RunRow.id)
        .limit(100)
        .with_for_update(key_share=True)
    ).scalars()
    n = 0
    for run in due:
        move_run(session, run=run, to=RunState.PUBLISHED, actor=SYSTEM)
        n += 1
    return n
