"""Chain the journal's entries by digests, so that a changed or missing one shows."""

import hashlib
from typing import Any

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session

from server.store.journal import now
from server.store.tables import AuditEventRow, AuditSealRow
from server.store.types import dump_json

FIRST_DIGEST = "0" * 64
BATCH = 500
# An entry that commits late has a lower number than ones sealed before it; it is still found
# when it is this far back.
LOOK_BACK = 10_000


def seal_journal(session: Session) -> int:
    """Put a seal on each entry that has none, in order of their numbers; how many were sealed.

    Model:  digest = SHA-256(previous digest + canonical JSON of the entry)

    The seals' own order is the chain; entries that commit out of order are sealed when seen.
    One worker does this: the last seal is locked.
    """
    last = session.execute(
        select(AuditSealRow)
        .order_by(AuditSealRow.id.desc())
        .limit(1)
        .with_for_update(key_share=True)
    ).scalar_one_or_none()
    previous = last.digest if last is not None else FIRST_DIGEST
    seen = session.execute(select(func.max(AuditSealRow.event_id))).scalar_one() or 0
    events = session.execute(
        select(AuditEventRow)
        .where(
            AuditEventRow.id > seen - LOOK_BACK,
            ~exists().where(AuditSealRow.event_id == AuditEventRow.id),
        )
        .order_by(AuditEventRow.id)
        .limit(BATCH)
    ).scalars()
    n = 0
    for event in events:
        digest = event_digest(previous, event)
        session.add(
            AuditSealRow(
                event_id=event.id, previous_digest=previous, digest=digest, sealed_at=now()
            )
        )
        # One by one: the numbers of the seals are the order of the chain.
        session.flush()
        previous = digest
        n += 1
    return n


def event_digest(previous: str, event: AuditEventRow) -> str:
    content: dict[str, Any] = {
        "id": event.id,
        "at": event.at.isoformat(),
        "actor": event.actor,
        "tester": event.tester_id,
        "subject": [event.subject_kind, event.subject_id],
        "act": event.act,
        "before": event.before,
        "after": event.after,
        "note": event.note_id,
    }
    # Entries from before notes had digests are sealed without one.
    if event.note_digest is not None:
        content["note_digest"] = event.note_digest
    return hashlib.sha256(previous.encode() + dump_json(content)).hexdigest()
