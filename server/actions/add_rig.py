"""Describe a rig."""

from sqlalchemy.orm import Session

from server.model.bench import Rig
from server.model.views import Stored, Tester
from server.store.journal import by
from server.store.matching import add_rig_row
from server.store.shapes import rig_of
from server.store.tables import RigRow


def add_rig(session: Session, *, rig: Rig, tester: Tester) -> Stored[Rig]:
    """Store a tester's rig as its first revision."""
    revision = add_rig_row(session, rig, actor=by(tester))
    row = session.get_one(RigRow, revision.rig_id)
    return Stored(row.public_id, row.slug, rig_of(revision), revision.number)
