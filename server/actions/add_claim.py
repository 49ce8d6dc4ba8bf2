"""Note a printed claim."""

from sqlalchemy.orm import Session

from server.errors import InvalidInput, Problem
from server.model.bench import Claim
from server.model.views import Stored, Tester
from server.store.appliances import find_appliance_row
from server.store.journal import by
from server.store.listing import lock_appliance, rewrite_listing
from server.store.matching import claim_for, follow_merges
from server.store.shapes import claim_of


def add_claim(
    session: Session, *, appliance_id: str, claim: Claim, tester: Tester
) -> Stored[Claim]:
    """Store what is printed about an appliance. The same claim again is the same claim.

    Raises
    ------
    NotFound: no such appliance.
    InvalidInput: a claim without wording, or whose value is not above zero.
    """
    problems = []
    if not claim.wording.strip():
        problems.append(
            Problem("the wording is missing.", "Type it as printed.", field="claim.wording")
        )
    if not claim.value_si > 0:
        problems.append(
            Problem("the value is not above zero.", "Type it as printed.", field="claim.value")
        )
    if problems:
        raise InvalidInput("claim", problems)
    row = follow_merges(session, find_appliance_row(session, public_id=appliance_id))
    lock_appliance(session, appliance_id=row.id)
    stored, is_new = claim_for(session, claim, appliance_id=row.id, actor=by(tester))
    if is_new:
        rewrite_listing(session, appliance_id=row.id)
    return Stored(stored.public_id, "", claim_of(stored))
