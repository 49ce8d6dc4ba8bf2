"""Note a rating plate anew."""

from sqlalchemy.orm import Session

from server.model.bench import Plate
from server.model.views import Stored, Tester
from server.store.appliances import find_appliance_row
from server.store.identity import content_sha256
from server.store.journal import by
from server.store.listing import lock_appliance, rewrite_listing
from server.store.matching import add_plate, current_plate, follow_merges
from server.store.shapes import plate_of, plate_values


def revise_plate(
    session: Session, *, appliance_id: str, plate: Plate, tester: Tester
) -> Stored[Plate]:
    """Add a revision of an appliance's plate. Runs keep the revision they were made with.

    A plate that says what the current one says adds nothing.

    Raises
    ------
    NotFound: no such appliance.
    """
    row = follow_merges(session, find_appliance_row(session, public_id=appliance_id))
    lock_appliance(session, appliance_id=row.id)
    current = current_plate(session, appliance_id=row.id)
    if current is None or current.content_sha256 != content_sha256(plate_values(plate)):
        current = add_plate(session, plate, appliance_id=row.id, actor=by(tester))
        rewrite_listing(session, appliance_id=row.id)
    return Stored(row.public_id, row.slug, plate_of(current), current.number)
