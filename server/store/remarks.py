"""Remarks on a run's fields, and who decided on it last."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.model.moderation import Decision, Remark
from server.store import tables as t


def remarks_of(session: Session, *, run_id: str, only_current: bool = True) -> tuple[Remark, ...]:
    """What is to be corrected about a run (public id): of its current revision, or ever, newest
    first. Whoever asks: who may see them is the caller's matter."""
    remark, revision, run = t.RemarkRow, t.RunRevisionRow, t.RunRow
    query = (
        select(remark, revision.number, t.PersonTextRow.text, t.TesterRow.name)
        .join(run, run.id == remark.run_id)
        .join(revision, revision.id == remark.run_revision_id)
        .join(t.PersonTextRow, t.PersonTextRow.id == remark.text_id)
        .join(t.TesterRow, t.TesterRow.id == remark.by_id)
        .where(run.public_id == run_id)
        .order_by(remark.id.desc())
    )
    if only_current:
        query = query.where(remark.run_revision_id == run.current_revision_id)
    return tuple(
        Remark(
            public_id=row.public_id,
            field=row.field,
            text=text or "",
            revision=number,
            by=name,
            at=row.created_at,
        )
        for row, number, text, name in session.execute(query)
    )


def last_decision(session: Session, *, run_id: int) -> Decision | None:
    """The newest entry of the journal about a run (key) that changed where it stands."""
    event = t.AuditEventRow
    row = session.execute(
        select(event.act, event.actor, event.at, t.TesterRow.name)
        .outerjoin(t.TesterRow, t.TesterRow.id == event.tester_id)
        .where(
            event.subject_kind == "run", event.subject_id == run_id, event.act != "run taken over"
        )
        .order_by(event.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return None
    return Decision(row.act, row.name or f"the {row.actor}", row.at)
