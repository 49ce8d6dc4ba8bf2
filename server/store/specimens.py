"""Specimens: single pieces of an appliance."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.bench import Specimen
from server.model.views import Stored, Tester
from server.store import tables as t
from server.store.shapes import specimen_of


def list_specimens(
    session: Session, *, appliance_id: str | None = None, tester: Tester | None = None
) -> tuple[Stored[Specimen], ...]:
    """Specimens of an appliance (public id), of a tester, or of both; newest first."""
    row = t.SpecimenRow
    query = select(row).order_by(row.id.desc()).limit(500)
    if appliance_id is not None:
        query = query.join(t.ApplianceRow, t.ApplianceRow.id == row.appliance_id).where(
            t.ApplianceRow.public_id == appliance_id
        )
    if tester is not None:
        query = query.where(row.owner_id == tester.id)
    return tuple(_stored(one) for one in session.execute(query).scalars())


def specimen_view(session: Session, *, public_id: str) -> Stored[Specimen]:
    """One specimen. Raises NotFound."""
    row = session.execute(
        select(t.SpecimenRow).where(t.SpecimenRow.public_id == public_id)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no specimen {public_id}.")
    return _stored(row)


def _stored(row: t.SpecimenRow) -> Stored[Specimen]:
    return Stored(row.public_id, "", specimen_of(row))
