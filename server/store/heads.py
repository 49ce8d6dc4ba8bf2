"""The journal's heads as they were signed."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.model.checking import SignedHead
from server.store.tables import AuditHeadRow, AuditSealRow

# In the data folder, beside the key: each head as it was signed, the newest last.
HEADS_NAME = "journal-heads.txt"
MAX_SHOWN = 366


def list_heads(session: Session, *, limit: int | None = MAX_SHOWN) -> tuple[SignedHead, ...]:
    """The heads on record, the newest first."""
    rows = session.execute(
        select(AuditHeadRow).order_by(AuditHeadRow.id.desc()).limit(limit)
    ).scalars()
    return tuple(
        SignedHead(row.n_seals, row.digest, row.signed_at, row.key_id, row.signature)
        for row in rows
    )


def newest_seal(session: Session) -> tuple[AuditSealRow, int] | None:
    """The chain's last seal and how many there are; None before the first."""
    seal = session.execute(
        select(AuditSealRow).order_by(AuditSealRow.id.desc()).limit(1)
    ).scalar_one_or_none()
    if seal is None:
        return None
    n = session.execute(
        select(func.count()).select_from(AuditSealRow).where(AuditSealRow.id <= seal.id)
    ).scalar_one()
    return seal, n
