"""Describe a rig anew, after a change to it or a calibration."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotAllowed, NotFound
from server.model.bench import Rig
from server.model.views import Stored, Tester
from server.store.journal import by
from server.store.matching import add_rig_revision, current_rig, rig_sha256
from server.store.shapes import rig_of
from server.store.tables import RigRow


def revise_rig(session: Session, *, rig_id: str, rig: Rig, tester: Tester) -> Stored[Rig]:
    """Add a revision of one's rig. Runs keep the revision they were made with.

    A description that says what the current one says adds nothing.

    Raises
    ------
    NotFound: no such rig.
    NotAllowed: another tester's rig.
    """
    row = session.execute(
        select(RigRow).where(RigRow.public_id == rig_id).with_for_update(key_share=True)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no rig {rig_id}.")
    if row.owner_id != tester.id:
        raise NotAllowed("This rig is another tester's.")
    current = current_rig(session, rig_id=row.id)
    if current.content_sha256 != rig_sha256(rig):
        current = add_rig_revision(session, rig, rig_id=row.id, actor=by(tester))
    return Stored(row.public_id, row.slug, rig_of(current), current.number)
