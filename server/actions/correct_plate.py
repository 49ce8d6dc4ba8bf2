"""A maintainer corrects a rating plate: a new revision with its reason."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.decide_run import DecidedMeanwhile, check_reason
from server.actions.may_moderate import check_may_moderate
from server.errors import Conflict
from server.model.bench import Plate
from server.model.views import Tester
from server.store import tables as t
from server.store.appliances import find_appliance_row
from server.store.identity import content_sha256
from server.store.journal import by, now, record
from server.store.listing import lock_appliance, rewrite_listing
from server.store.matching import current_plate, follow_merges
from server.store.shapes import plate_values


def correct_plate(
    session: Session,
    *,
    appliance_id: str,
    plate: Plate,
    number: int,
    reason: str,
    maintainer: Tester,
) -> int:
    """Note an appliance's plate as it really reads; gives the new revision's number.

    Runs keep the revision they were made with, and their pages and the desk say so: what a run says
    is fixed, and a figure that rests on the plate moves only with a new revision of the run.

    Parameters
    ----------
    number : of the revision as it was looked at; 0: there was none.
    reason : why, for everybody to read.

    Raises
    ------
    NotFound: no such appliance. NotAllowed: a maker the maintainer has ties with.
    DecidedMeanwhile: the plate was noted anew meanwhile. Conflict: it says the same already.
    InvalidInput: no reason.
    """
    row = follow_merges(session, find_appliance_row(session, public_id=appliance_id))
    lock_appliance(session, appliance_id=row.id)
    check_may_moderate(session, maintainer=maintainer, maker_keys={row.maker_key})
    check_reason(reason, "A correction needs its reason.")
    current = current_plate(session, appliance_id=row.id)
    at = current.number if current is not None else 0
    if at != number:
        raise DecidedMeanwhile(f"Meanwhile revision {at} of the plate was noted. Look at it first.")
    sha256 = content_sha256(plate_values(plate))
    if current is not None and current.content_sha256 == sha256:
        raise Conflict("The plate says this already.")
    session.add(
        t.PlateRevisionRow(
            appliance_id=row.id,
            number=at + 1,
            content_sha256=sha256,
            created_by_id=maintainer.id,
            created_at=now(),
            **plate_values(plate),
        )
    )
    session.flush()
    record(
        session,
        actor=by(maintainer),
        act="plate corrected",
        subject_kind="appliance",
        subject_id=row.id,
        before={"plate": at},
        after={"plate": at + 1},
        note=reason.strip(),
    )
    rewrite_listing(session, appliance_id=row.id)
    return at + 1


def runs_with_other_plate(session: Session, *, appliance_id: str) -> tuple[str, ...]:
    """The runs (public ids) of an appliance whose figures rest on a plate that reads otherwise."""
    row = find_appliance_row(session, public_id=appliance_id)
    current = current_plate(session, appliance_id=row.id)
    if current is None:
        return ()
    plate, revision = t.PlateRevisionRow, t.RunRevisionRow
    found = session.scalars(
        select(t.RunRow.public_id)
        .join(revision, revision.id == t.RunRow.current_revision_id)
        .join(plate, plate.id == revision.plate_revision_id)
        .where(t.RunRow.appliance_id == row.id, plate.content_sha256 != current.content_sha256)
        .order_by(t.RunRow.id)
    )
    return tuple(found)
