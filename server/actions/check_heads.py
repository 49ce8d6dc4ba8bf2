"""Check the signatures of the journal's heads: those on record, those published, those kept."""

from collections.abc import Iterator, Sequence
from pathlib import Path

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.credentials.signing import is_signed, public_keys, read_heads
from server.errors import Unusable
from server.model.checking import Fault, Note, OnDone, OnStep, Part, SignedHead
from server.model.checking import ignore_done as _ignore_done
from server.model.checking import ignore_step as _ignore_step
from server.store.heads import HEADS_NAME, list_heads
from server.store.tables import AuditHeadRow, AuditSealRow

_WHO = "Find out who could write the database, and compare with heads that others kept."


def kept_heads(session: Session, *, data: Path) -> list[tuple[str, SignedHead]]:
    """The heads in the database and in the published file, each with where it stands."""
    found = [
        (f"head of {head.signed_at:%Y-%m-%d}", head) for head in list_heads(session, limit=None)
    ]
    path = data / HEADS_NAME
    if path.is_file():
        try:
            published = read_heads(path.read_text(), name=HEADS_NAME)
        except Unusable:
            published = []
        found += [(f"{HEADS_NAME}, head of {h.signed_at:%Y-%m-%d}", h) for h in published]
    return found


def check_heads(
    session: Session,
    *,
    data: Path,
    heads: Sequence[tuple[str, SignedHead]],
    on_step: OnStep = _ignore_step,
    on_done: OnDone = _ignore_done,
) -> Iterator[Fault | Note]:
    """Check each head's signature with the public keys of the data folder.

    Parameters
    ----------
    heads : each with where it was found. Whether the chain holds them is `check_journal`'s.

    Yields
    ------
    A Fault for each that is not signed by a key of ours, and for each on record whose seal is
    another than it says; a Note where there are none.
    """
    on_step(Part.HEADS, len(heads))
    keys = public_keys(data)
    for place, head in heads:
        key = keys.get(head.key_id)
        if key is None:
            yield Fault(
                Part.HEADS,
                place,
                f"it was signed with the key {head.key_id}, which is not in the data folder.",
                "Put journal-key-….pub.pem back from a backup; else the key was changed.",
            )
        elif not is_signed(head, key):
            yield Fault(Part.HEADS, place, "its signature does not fit what it says.", _WHO)
        on_done(1)
    rows = session.execute(
        select(AuditHeadRow.id, AuditHeadRow.seal_id)
        .outerjoin(AuditSealRow, AuditSealRow.id == AuditHeadRow.seal_id)
        .where(AuditSealRow.digest.is_distinct_from(AuditHeadRow.digest))
    )
    for number, seal_id in rows:
        yield Fault(
            Part.HEADS, f"head {number}", f"seal {seal_id} is not the one it was made of.", _WHO
        )
    if not heads:
        yield Note(Part.HEADS, "No head has been signed yet; the worker signs one a day.")
