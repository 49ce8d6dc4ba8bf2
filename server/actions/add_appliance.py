"""Add an appliance without a run: its plate and what is printed about it."""

from sqlalchemy.orm import Session

from server.actions.complete_bench import check_appliance
from server.errors import Conflict
from server.model.bench import Appliance, Claim, Plate
from server.model.views import Stored, Tester
from server.store.journal import by
from server.store.listing import rewrite_listing
from server.store.matching import appliance_for, claim_for, plate_for
from server.store.shapes import appliance_of


def add_appliance(
    session: Session,
    *,
    appliance: Appliance,
    tester: Tester,
    plate: Plate | None = None,
    claims: tuple[Claim, ...] = (),
) -> Stored[Appliance]:
    """Store a make and model as sold, with its rating plate and printed claims.

    Raises
    ------
    InvalidInput: maker or model is missing; each is named.
    Conflict: that maker and model is there; the message holds its id.
    """
    check_appliance(appliance)
    row, is_new = appliance_for(session, appliance, actor=by(tester))
    if not is_new:
        raise Conflict(f"This maker and model is here already: {row.public_id}.")
    plate_for(session, plate or Plate(), appliance_id=row.id, actor=by(tester))
    for claim in claims:
        claim_for(session, claim, appliance_id=row.id, actor=by(tester))
    rewrite_listing(session, appliance_id=row.id)
    return Stored(row.public_id, row.slug, appliance_of(row))
