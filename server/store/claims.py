"""Printed claims, each with its address."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.bench import Claim
from server.model.views import Page, Stored
from server.store import tables as t
from server.store.cursor import read_cursor, write_cursor
from server.store.shapes import claim_of

MAX_PAGE = 200


def list_claims(
    session: Session,
    *,
    appliance_id: str | None = None,
    quantity: str | None = None,
    cursor: str | None = None,
    limit: int = 50,
) -> Page[Stored[Claim]]:
    """Claims, newest first; of one appliance (public id) or of all."""
    claim = t.ClaimRow
    limit = min(max(limit, 1), MAX_PAGE)
    query = select(claim).order_by(claim.id.desc()).limit(limit + 1)
    if appliance_id is not None:
        query = query.join(t.ApplianceRow, t.ApplianceRow.id == claim.appliance_id).where(
            t.ApplianceRow.public_id == appliance_id
        )
    if quantity is not None:
        query = query.where(claim.quantity == quantity)
    if cursor is not None:
        query = query.where(claim.id < read_cursor(cursor, int)[0])
    rows = session.execute(query).scalars().all()
    following = write_cursor(rows[limit - 1].id) if len(rows) > limit else None
    return Page(tuple(_stored(row) for row in rows[:limit]), following)


def claim_view(session: Session, *, public_id: str) -> Stored[Claim]:
    """One claim. Raises NotFound."""
    row = session.execute(
        select(t.ClaimRow).where(t.ClaimRow.public_id == public_id)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no claim {public_id}.")
    return _stored(row)


def _stored(row: t.ClaimRow) -> Stored[Claim]:
    return Stored(row.public_id, "", claim_of(row))
