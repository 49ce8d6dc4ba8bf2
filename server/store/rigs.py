"""Rigs, in revisions."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.bench import ColumnChoice, Rig
from server.model.views import Stored, Tester
from server.store import tables as t
from server.store.shapes import choices_of, columns_of, rig_of


def list_rigs(session: Session, *, tester: Tester) -> tuple[Stored[Rig], ...]:
    """A tester's rigs, each as it stands now, the one last changed first."""
    rows = session.execute(
        select(t.RigRow, t.RigRevisionRow)
        .join(t.RigRevisionRow, t.RigRevisionRow.rig_id == t.RigRow.id)
        .where(t.RigRow.owner_id == tester.id)
        .order_by(t.RigRevisionRow.id)
    )
    current: dict[int, Stored[Rig]] = {}
    for rig, revision in rows:
        current.pop(rig.id, None)  # so that the order is that of the newest revisions
        current[rig.id] = Stored(rig.public_id, rig.slug, rig_of(revision), revision.number)
    return tuple(reversed(current.values()))


def rig_view(session: Session, *, public_id: str) -> Stored[Rig]:
    """A rig as it stands now. Raises NotFound."""
    return rig_revisions(session, public_id=public_id)[0]


def rig_revisions(session: Session, *, public_id: str) -> tuple[Stored[Rig], ...]:
    """Every revision of a rig, newest first. Raises NotFound."""
    rows = session.execute(
        select(t.RigRow, t.RigRevisionRow)
        .join(t.RigRevisionRow, t.RigRevisionRow.rig_id == t.RigRow.id)
        .where(t.RigRow.public_id == public_id)
        .order_by(t.RigRevisionRow.number.desc())
    ).all()
    if not rows:
        raise NotFound(f"There is no rig {public_id}.")
    return tuple(Stored(rig.public_id, rig.slug, rig_of(r), r.number) for rig, r in rows)


def last_columns(session: Session, *, public_id: str) -> tuple[ColumnChoice, ...]:
    """The column map of the newest run with this rig, to be offered again; empty if none.

    What the sender chose comes first; the other columns as they were read.
    """
    row = session.execute(
        select(t.RunRevisionRow.choices, t.RunRevisionRow.columns)
        .join(t.RigRevisionRow, t.RigRevisionRow.id == t.RunRevisionRow.rig_revision_id)
        .join(t.RigRow, t.RigRow.id == t.RigRevisionRow.rig_id)
        .where(t.RigRow.public_id == public_id, t.RunRevisionRow.recording_sha256.is_not(None))
        .order_by(t.RunRevisionRow.id.desc())
        .limit(1)
    ).first()
    if row is None:
        return ()
    chosen = choices_of(row.choices)
    named = {choice.header for choice in chosen}
    read = columns_of(row.columns)
    return chosen + tuple(
        ColumnChoice(column.header, column.channel, column.unit, column.position)
        for column in read
        if column.header not in named
    )
