"""What a maintainer asked to have corrected about a run's current revision."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.store import tables as t


def asked_fields(session: Session, *, run_id: str) -> tuple[tuple[str, str], ...]:
    """(field, words) of each remark on the run (public id), in the order they were made."""
    remark, run = t.RemarkRow, t.RunRow
    rows = session.execute(
        select(remark.field, t.PersonTextRow.text)
        .join(run, run.id == remark.run_id)
        .join(t.PersonTextRow, t.PersonTextRow.id == remark.text_id)
        .where(run.public_id == run_id, remark.run_revision_id == run.current_revision_id)
        .order_by(remark.id)
    )
    return tuple((row.field, row.text) for row in rows if row.text)
