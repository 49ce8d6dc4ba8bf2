"""Check the journal's chain: every entry is as it was sealed, none is missing, none was put in."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from sqlalchemy import ColumnElement, exists, func, select
from sqlalchemy.orm import Session

from server.actions.seal_journal import FIRST_DIGEST, event_digest
from server.model.checking import Fault, Note, OnDone, OnStep, Part, SignedHead
from server.model.checking import ignore_done as _ignore_done
from server.model.checking import ignore_step as _ignore_step
from server.store.journal import text_digest
from server.store.tables import AuditEventRow, AuditSealRow, PersonTextRow

ROWS_AT_ONCE = 1000
# An entry that is this much older than one sealed before it was not written when it says.
LATE = timedelta(hours=1)
RESTORE = "Compare with a backup from before; what it says of this entry stands."


@dataclass
class _Chain:
    """Where the walk along the seals stands."""

    previous: str = FIRST_DIGEST
    n: int = 0
    last_event: int = 0
    newest_at: datetime | None = None
    n_erased: int = 0
    heads: dict[int, list[tuple[str, SignedHead]]] = field(default_factory=dict)


def check_journal(
    session: Session,
    *,
    heads: Iterable[tuple[str, SignedHead]] = (),
    on_step: OnStep = _ignore_step,
    on_done: OnDone = _ignore_done,
) -> Iterator[Fault | Note]:
    """Walk the chain from its first seal to its last, and look at what is not sealed yet.

    Parameters
    ----------
    session : its reads see the journal at one moment.
    heads : signed heads, each with where it was found. The chain must hold each at its place: that
        is what shows a chain that was cut off at its end or made anew.
    on_step, on_done : told how many seals there are, and of those that were looked at.

    Yields
    ------
    A Fault for each entry that was altered, removed, put in or moved, each text that is not the one
    its entry was written with, and each head that does not fit; Notes of what is not sealed yet.

    Notes
    -----
    Every break is named where it is, and the walk goes on from there. Texts that were erased on
    purpose are no fault: their salt went with them, and only their digest is sealed.
    """
    chain = _Chain()
    for place, head in heads:
        chain.heads.setdefault(head.n_seals, []).append((place, head))
    total = session.execute(select(func.count()).select_from(AuditSealRow)).scalar_one()
    on_step(Part.JOURNAL, total)
    for seal, event, note in session.execute(_links()).yield_per(ROWS_AT_ONCE):
        yield from _check_link(session, chain, seal, event, note)
        on_done(1)
    yield from _unreached(chain)
    yield from _unsealed(session, chain)
    if chain.n_erased:
        yield Note(Part.JOURNAL, f"{chain.n_erased} texts were erased; their entries stand.")


def _links() -> Any:
    return (
        select(AuditSealRow, AuditEventRow, PersonTextRow)
        .outerjoin(AuditEventRow, AuditEventRow.id == AuditSealRow.event_id)
        .outerjoin(PersonTextRow, PersonTextRow.id == AuditEventRow.note_id)
        .order_by(AuditSealRow.id)
    )


def _check_link(
    session: Session,
    chain: _Chain,
    seal: AuditSealRow,
    event: AuditEventRow | None,
    note: PersonTextRow | None,
) -> Iterator[Fault]:
    chain.n += 1
    place = f"journal entry {seal.event_id}"
    if seal.previous_digest != chain.previous:
        yield _broken_link(session, chain, seal)
    if event is None:
        yield _fault(place, "it was removed; its seal is still there.")
    elif seal.digest != event_digest(seal.previous_digest, event):
        yield _fault(place, "it is not as it was sealed: it, or its seal, was altered.")
    else:
        yield from _check_time(chain, event)
        yield from _check_texts(session, chain, event, note)
    chain.previous = seal.digest
    chain.last_event = seal.event_id
    for where, head in chain.heads.pop(chain.n, ()):
        if head.digest != seal.digest:
            yield Fault(
                Part.HEADS,
                where,
                f"entry {chain.n} of the chain is not the one that was signed on "
                f"{head.signed_at:%Y-%m-%d}: the chain was made anew, or cut off and written on.",
                "Restore the journal from a backup that fits this head, and find out who could "
                "write the database.",
            )


def _broken_link(session: Session, chain: _Chain, seal: AuditSealRow) -> Fault:
    """Name what is wrong between a seal and the one before: removed, put in, or moved."""
    expected = session.execute(
        select(AuditSealRow.id, AuditSealRow.event_id).where(
            AuditSealRow.digest == seal.previous_digest
        )
    ).first()
    is_first = seal.previous_digest == FIRST_DIGEST
    place = f"journal entry {seal.event_id}"
    if expected is None and not is_first:
        lost = _missing(session, chain.last_event, seal.event_id)
        named = f" ({lost})" if lost else ""
        return _fault(place, f"what was sealed before it was removed{named}, or altered.")
    if is_first or (expected is not None and expected.id < seal.id):
        return _fault(
            f"journal entry {chain.last_event}",
            f"it was put in, or moved, before entry {seal.event_id}: the chain has no such place.",
        )
    return _fault(place, "it stands in another place than it was sealed in.")


def _missing(session: Session, first: int, last: int) -> str | None:
    """The number of an entry that is not there between two, where one can tell."""
    if not 0 < first < last - 1 or last - first > ROWS_AT_ONCE:
        return None
    there = set(
        session.execute(
            select(AuditEventRow.id).where(AuditEventRow.id > first, AuditEventRow.id < last)
        ).scalars()
    )
    gone = [str(number) for number in range(first + 1, last) if number not in there]
    return f"number {', '.join(gone)}" if gone else None


def _check_time(chain: _Chain, event: AuditEventRow) -> Iterator[Fault]:
    if _is_late(chain, event.at):
        yield _fault(
            f"journal entry {event.id}",
            f"it says {event.at:%Y-%m-%d %H:%M} but was sealed after entries of "
            f"{chain.newest_at:%Y-%m-%d %H:%M}: it was put in later, or the clock was wrong.",
        )
    if chain.newest_at is None or event.at > chain.newest_at:
        chain.newest_at = event.at


def _is_late(chain: _Chain, at: datetime) -> bool:
    return chain.newest_at is not None and at < chain.newest_at - LATE


def _check_texts(
    session: Session, chain: _Chain, event: AuditEventRow, note: PersonTextRow | None
) -> Iterator[Fault]:
    if event.note_digest is not None:
        yield from _check_text(chain, event, "note", note, event.note_digest)
    for name, witness in _witnesses(event.after, "text"):
        row = session.get(PersonTextRow, witness["text"])
        yield from _check_text(chain, event, name, row, witness["sha256"])


def _witnesses(value: object, name: str) -> Iterator[tuple[str, Mapping[str, object]]]:
    """Keys and digests of texts in what an entry holds, each with the word it stands under."""
    if isinstance(value, list):
        for part in value:
            yield from _witnesses(part, name)
    elif isinstance(value, dict):
        if value.keys() == {"text", "sha256"}:
            yield name, value
        for word, part in value.items():
            yield from _witnesses(part, word)


def _check_text(
    chain: _Chain, event: AuditEventRow, name: str, row: PersonTextRow | None, digest: object
) -> Iterator[Fault]:
    place = f"journal entry {event.id}, its {name}"
    if row is None:
        yield _fault(place, "the words that belong to it were removed, not erased.")
    elif row.text is None:
        chain.n_erased += 1
    elif text_digest(row) != digest:
        yield _fault(place, "the words kept with it are not those it was written with.")


def _unreached(chain: _Chain) -> Iterator[Fault]:
    for heads in chain.heads.values():
        for where, head in heads:
            yield Fault(
                Part.HEADS,
                where,
                f"it was signed over {head.n_seals} entries on {head.signed_at:%Y-%m-%d}, and the "
                f"chain has {chain.n}: its end was cut off, or an older backup was restored.",
                "Restore a backup that holds them, or find out who could write the database.",
            )


def _unsealed(session: Session, chain: _Chain) -> Iterator[Fault | Note]:
    """What waits for its seal. The worker takes it in order, so nothing old may be among it."""
    waiting = 0
    events = session.execute(
        select(AuditEventRow.id, AuditEventRow.at).where(_has_no_seal()).order_by(AuditEventRow.id)
    )
    for number, at in events.yield_per(ROWS_AT_ONCE):
        if _is_late(chain, at):
            yield _fault(
                f"journal entry {number}",
                f"it says {at:%Y-%m-%d %H:%M}, later ones are sealed and it is not: it was put in.",
            )
        else:
            waiting += 1
    if waiting:
        yield Note(
            Part.JOURNAL,
            f"{waiting} entries are not sealed yet; the worker does that within seconds.",
        )


def _has_no_seal() -> ColumnElement[bool]:
    return ~exists().where(AuditSealRow.event_id == AuditEventRow.id)


def _fault(place: str, message: str) -> Fault:
    return Fault(Part.JOURNAL, place, message, RESTORE)
