"""Describe a piece of an appliance that is to be tested."""

from sqlalchemy.orm import Session

from server.errors import InvalidInput, Problem
from server.model.bench import Specimen
from server.model.views import Stored, Tester
from server.store.appliances import find_appliance_row
from server.store.journal import by, record
from server.store.matching import add_specimen_row, follow_merges
from server.store.shapes import specimen_of


def add_specimen(
    session: Session, *, appliance_id: str, specimen: Specimen, tester: Tester
) -> Stored[Specimen]:
    """Store a tester's own piece of an appliance.

    Raises
    ------
    NotFound: no such appliance.
    InvalidInput: hours below zero.
    """
    if specimen.hours is not None and specimen.hours < 0:
        problem = Problem("hours run can't be below zero.", "Type hours.", field="specimen.hours")
        raise InvalidInput("specimen", [problem])
    row = follow_merges(session, find_appliance_row(session, public_id=appliance_id))
    made = add_specimen_row(session, specimen, appliance_id=row.id, tester_id=tester.id)
    record(
        session,
        actor=by(tester),
        act="specimen added",
        subject_kind="appliance",
        subject_id=row.id,
        after={"specimen": made.public_id},
    )
    return Stored(made.public_id, "", specimen_of(made))
