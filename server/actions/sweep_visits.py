"""End what was tried without an account, a day later, and accounts that nobody confirmed."""

from sqlalchemy import delete, exists, or_, select, update
from sqlalchemy.orm import Session

from server.model.people import Role
from server.store import tables as t
from server.store.journal import now

# What a visit can leave behind that is its own. Nothing of it is in the journal or in a run.
_OWN = (
    t.PhotoRow,
    t.PartialUploadRow,
    t.DraftRow,
    t.OneTimeSecretRow,
    t.PasskeyRow,
    t.TotpRow,
    t.ExternalIdentityRow,
)
MOST_AT_ONCE = 500


def end_expired_visits(session: Session) -> int:
    """Remove visits past their day, and unconfirmed accounts past their week; how many.

    All that was kept for them goes along. Files of their drafts and photographs are swept with
    every file that nothing refers to. One that anything else refers to keeps its key, without a
    name.
    """
    tester = t.TesterRow
    ended = list(
        session.execute(
            select(tester.id)
            .where(
                tester.role.in_([Role.VISITOR.value, Role.READER.value]),
                tester.expires_at < now(),
                tester.erased_at.is_(None),
            )
            .order_by(tester.id)
            .limit(MOST_AT_ONCE)
        ).scalars()
    )
    if not ended:
        return 0
    photos = select(t.PhotoRow.id).where(t.PhotoRow.tester_id.in_(ended))
    session.execute(delete(t.JobRow).where(t.JobRow.photo_id.in_(photos)))
    for table in _OWN:
        session.execute(delete(table).where(table.tester_id.in_(ended)))
    session.execute(delete(t.WebSessionRow).where(t.WebSessionRow.tester_id.in_(ended)))
    _remove_things(session, ended)
    kept = or_(
        exists().where(t.RunRow.tester_id == tester.id),
        exists().where(t.AuditEventRow.tester_id == tester.id),
        exists().where(t.SpecimenRow.owner_id == tester.id),
        exists().where(t.RigRow.owner_id == tester.id),
        exists().where(t.ConcernRow.by_id == tester.id),
        exists().where(t.PersonTextRow.tester_id == tester.id),
    )
    session.execute(
        update(tester)
        .where(tester.id.in_(ended), kept)
        .values(name="", password_hash=None, erased_at=now())
    )
    gone = session.execute(delete(tester).where(tester.id.in_(ended), ~kept).returning(tester.id))
    return len(gone.all())


def _remove_things(session: Session, ended: list[int]) -> None:
    """Rigs and specimens that no run was sent with."""
    rig, revision, specimen = t.RigRow, t.RigRevisionRow, t.SpecimenRow
    used = exists().where(
        t.RunRevisionRow.rig_revision_id == revision.id, revision.rig_id == rig.id
    )
    free = select(rig.id).where(rig.owner_id.in_(ended), ~used)
    session.execute(delete(revision).where(revision.rig_id.in_(free)))
    session.execute(
        delete(rig).where(rig.owner_id.in_(ended), ~exists().where(revision.rig_id == rig.id))
    )
    session.execute(
        delete(specimen).where(
            specimen.owner_id.in_(ended),
            ~exists().where(t.RunRevisionRow.specimen_id == specimen.id),
        )
    )
