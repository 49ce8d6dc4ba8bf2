"""Sign the journal's newest seal once a day, and publish it outside the database."""

import os
from datetime import datetime, timedelta
from pathlib import Path

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.credentials.signing import head_text, key_for_signing, read_heads, sign_head
from server.errors import Conflict, Unusable
from server.model.checking import SignedHead
from server.store.files import make_durable
from server.store.heads import HEADS_NAME, list_heads, newest_seal
from server.store.tables import AuditHeadRow, AuditSealRow

SIGN_EVERY = timedelta(hours=24)


def sign_journal(session: Session, *, data: Path, at: datetime) -> SignedHead | None:
    """Sign the newest seal unless one was signed within SIGN_EVERY, or nothing was sealed since.

    Parameters
    ----------
    session : in a write transaction of the one worker.
    data : the data folder, where the key lies; it is made where there is none.
    at : now.

    Returns
    -------
    The new head, None if none was due. `publish_heads` brings it out of the database.

    Raises
    ------
    Conflict: the last head is not in the chain any more: something was cut off or altered, and
        signing over it would hide that.
    """
    last = session.execute(
        select(AuditHeadRow).order_by(AuditHeadRow.id.desc()).limit(1)
    ).scalar_one_or_none()
    if last is not None and at - last.signed_at < SIGN_EVERY:
        return None
    newest = newest_seal(session)
    if newest is None or (last is not None and last.seal_id == newest[0].id):
        return None
    if last is not None:
        _check_holds(session, last)
    seal, n_seals = newest
    head = sign_head(key_for_signing(data), n_seals=n_seals, digest=seal.digest, signed_at=at)
    session.add(
        AuditHeadRow(
            seal_id=seal.id,
            digest=head.digest,
            n_seals=head.n_seals,
            signed_at=head.signed_at,
            key_id=head.key_id,
            signature=head.signature,
        )
    )
    session.flush()
    return head


def _check_holds(session: Session, last: AuditHeadRow) -> None:
    digest = session.execute(
        select(AuditSealRow.digest).where(AuditSealRow.id == last.seal_id)
    ).scalar_one_or_none()
    n = session.execute(
        select(func.count()).select_from(AuditSealRow).where(AuditSealRow.id <= last.seal_id)
    ).scalar_one()
    if digest != last.digest or n != last.n_seals:
        raise Conflict(
            f"The journal does not hold the head of {last.signed_at:%Y-%m-%d} any more, so no new "
            "one is signed. Run `benchledger verify`."
        )


def publish_heads(session: Session, *, data: Path) -> int:
    """Append the heads that are not in the published file yet; how many. None is ever taken out."""
    path = data / HEADS_NAME
    text = path.read_text() if path.is_file() else ""
    try:
        there = {head.signature for head in read_heads(text, name=HEADS_NAME)}
    except Unusable:
        there = set()
    new = [head for head in reversed(list_heads(session)) if head.signature not in there]
    if not new:
        return 0
    # Written whole beside and renamed: a kill leaves the old file or the new one.
    temporary = path.with_name(f".{HEADS_NAME}.{os.getpid()}")
    temporary.write_text(
        "\n".join([*([text.rstrip("\n") + "\n"] if text else []), *map(head_text, new)])
    )
    make_durable(temporary)
    temporary.rename(path)
    return len(new)
