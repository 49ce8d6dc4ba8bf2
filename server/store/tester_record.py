"""What a tester's earlier runs came to."""

from datetime import timedelta

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.model.moderation import TesterRecord
from server.model.words import RunState
from server.store import tables as t
from server.store.journal import now


def withdrawn_since(session: Session, *, tester_id: int, days: float) -> int:
    """How many of a tester's runs were withdrawn in the last days, by the journal: a run's own
    time of change moves with later work on it."""
    event = t.AuditEventRow
    return session.execute(
        select(func.count(t.RunRow.id.distinct()))
        .join(event, event.subject_id == t.RunRow.id)
        .where(
            t.RunRow.tester_id == tester_id,
            t.RunRow.state == RunState.WITHDRAWN,
            event.subject_kind == "run",
            event.act == f"run {RunState.WITHDRAWN.value}",
            event.at > now() - timedelta(days=days),
        )
    ).scalar_one()


def ever_returned(session: Session, *, tester_id: int) -> int:
    """How many of a tester's runs were sent back at least once."""
    event = t.AuditEventRow
    return session.execute(
        select(func.count(t.RunRow.id.distinct()))
        .join(event, event.subject_id == t.RunRow.id)
        .where(
            t.RunRow.tester_id == tester_id,
            event.subject_kind == "run",
            event.act == f"run {RunState.RETURNED.value}",
        )
    ).scalar_one()


def runs_by_state(session: Session, *, tester_id: int) -> dict[RunState, int]:
    """How many runs of a tester stand where."""
    rows = session.execute(
        select(t.RunRow.state, func.count())
        .where(t.RunRow.tester_id == tester_id)
        .group_by(t.RunRow.state)
    )
    return {RunState(state): n for state, n in rows}


def tester_record(
    session: Session,
    *,
    tester_id: int,
    days: float,
    is_in_standing: bool,
    has_second_factor: bool,
) -> TesterRecord:
    """A tester's record for the desk; whether they are in good standing is the rule's to say."""
    account = session.get_one(t.TesterRow, tester_id)
    counts = runs_by_state(session, tester_id=tester_id)
    tie = t.MakerTieRow
    ties = session.execute(
        select(tie.maker).where(tie.tester_id == tester_id).order_by(tie.maker)
    ).scalars()
    return TesterRecord(
        tester_id=account.public_id,
        name=account.name,
        since=account.created_at,
        n_published=counts.get(RunState.PUBLISHED, 0),
        n_waiting=counts.get(RunState.WAITING, 0),
        n_returned=ever_returned(session, tester_id=tester_id),
        n_withdrawn=counts.get(RunState.WITHDRAWN, 0),
        n_withdrawn_lately=withdrawn_since(session, tester_id=tester_id, days=days),
        is_in_standing=is_in_standing,
        is_vouched=account.is_vouched,
        has_second_factor=has_second_factor,
        ties=tuple(dict.fromkeys(ties)),
    )
