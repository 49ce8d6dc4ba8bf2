"""Cheap validators: what changes whenever an answer would. One statement each."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.model.views import Tester
from server.store import tables as t
from server.store.runs import visible


def appliance_stamp(session: Session, *, public_id: str) -> str | None:
    """Changes with plate, claims, published runs and their figures. None: there is none."""
    at = session.execute(
        select(t.ListingRow.rewritten_at)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ListingRow.appliance_id)
        .where(t.ApplianceRow.public_id == public_id)
    ).scalar_one_or_none()
    return None if at is None else at.isoformat()


def run_stamp(session: Session, *, public_id: str, viewer: Tester | None) -> str | None:
    """Changes with the run's state and figures and with what is printed about its appliance."""
    row = session.execute(
        select(t.RunRow.updated_at, t.RunRow.current_set_id, t.ListingRow.rewritten_at)
        .outerjoin(t.ListingRow, t.ListingRow.appliance_id == t.RunRow.appliance_id)
        .where(t.RunRow.public_id == public_id, visible(viewer))
    ).first()
    return None if row is None else " ".join(str(part) for part in row)


def catalogue_stamp(session: Session) -> str:
    """Changes with any appliance of the catalogue."""
    at = session.execute(select(func.max(t.ListingRow.rewritten_at))).scalar_one()
    return "empty" if at is None else at.isoformat()
