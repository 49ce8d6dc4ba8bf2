"""The journal: one entry with each change, in the same transaction."""

import hashlib
import secrets
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Any

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.model.people import Role
from server.model.views import JournalRow, Tester
from server.store.tables import AuditEventRow, PersonTextRow, TesterRow

# Where an entry's `after` holds the digests of texts that were stored with it.
TEXTS = "texts"
# How many entries a page shows.
MAX_SHOWN = 200
# Acts between maintainers, and notices until they are settled.
NOT_PUBLIC = ("run taken over", "concern taken over", "notice raised", "statement looked at")
_MAINTAINERS = {Role.MAINTAINER.value, Role.ADMINISTRATOR.value}


@dataclass(frozen=True, slots=True)
class Actor:
    """Who did it: an account, a reader without one, a rule, or the operator at the command line."""

    kind: str
    tester_id: int | None = None


SYSTEM = Actor("system")
READER = Actor("reader")
OPERATOR = Actor("operator")


def by(tester: Tester) -> Actor:
    return Actor("tester", tester.id)


def now() -> datetime:
    return datetime.now(UTC)


def today() -> date:
    """The day in UTC."""
    return now().date()


def record(
    session: Session,
    *,
    actor: Actor,
    act: str,
    subject_kind: str,
    subject_id: int,
    before: Mapping[str, Any] | None = None,
    after: Mapping[str, Any] | None = None,
    note: str | None = None,
    texts: Mapping[str, PersonTextRow] | None = None,
) -> None:
    """Append an entry. Names and free text never go into `before` and `after`: they are erasable
    and the entry is not; a note by a person is kept apart.

    `texts`: other words of people that this act stored with `keep_text`, by what they are
    ("remark", "statement"). Their digests go into `after`, so that a changed text shows.
    """
    note_id = note_digest = None
    if texts:
        after = {**(after or {}), TEXTS: {name: witness(row) for name, row in texts.items()}}
    if note is not None:
        text = keep_text(session, note, by_id=actor.tester_id)
        note_id, note_digest = text.id, text_digest(text)
    session.add(
        AuditEventRow(
            at=now(),
            actor=actor.kind,
            tester_id=actor.tester_id,
            subject_kind=subject_kind,
            subject_id=subject_id,
            act=act,
            before=dict(before) if before is not None else None,
            after=dict(after) if after is not None else None,
            note_id=note_id,
            note_digest=note_digest,
        )
    )


def keep_text(session: Session, text: str, *, by_id: int | None) -> PersonTextRow:
    """Keep a person's words apart, with a salt of their own; the row has its key."""
    row = PersonTextRow(tester_id=by_id, text=text, salt=secrets.token_hex(16))
    session.add(row)
    session.flush()
    return row


def witness(row: PersonTextRow) -> dict[str, Any]:
    """What an entry's `after` may hold of a text, at any depth: its key and digest."""
    return {"text": row.id, "sha256": text_digest(row)}


def text_digest(row: PersonTextRow) -> str | None:
    """What the journal keeps of a text; None once it was erased."""
    if row.text is None or row.salt is None:
        return None
    return hashlib.sha256(f"{row.salt}{row.text}".encode()).hexdigest()


def journal_of(session: Session, *, subject_kind: str, subject_id: int) -> tuple[JournalRow, ...]:
    """The newest entries about one thing that everybody may read, newest first."""
    event, text = AuditEventRow, PersonTextRow
    rows = session.execute(
        select(
            event.at,
            event.act,
            event.actor,
            event.after,
            TesterRow.name,
            TesterRow.role,
            text.text,
        )
        .outerjoin(TesterRow, TesterRow.id == event.tester_id)
        .outerjoin(text, text.id == event.note_id)
        .where(
            event.subject_kind == subject_kind,
            event.subject_id == subject_id,
            event.act.not_in(NOT_PUBLIC),
        )
        .order_by(event.id.desc())
        .limit(MAX_SHOWN)
    )
    return tuple(
        JournalRow(
            at=at,
            act=act,
            actor=name or actor,
            note=note,
            after=after or {},
            is_maintainer=role in _MAINTAINERS,
        )
        for at, act, actor, after, name, role, note in rows
    )
