"""Delete an account: the person goes, the ledger stays whole."""

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from server.model.people import Role
from server.store import tables as t
from server.store.journal import SYSTEM, Actor, now, record
from server.store.listing import rewrite_listing

NEUTRAL_NAME = "a former tester"
FILE_NAME = "a log"
_REMOVED = "removed with its writer's account"
# What is the person's alone. What refers to others of these comes first.
_OWN = (
    t.WebSessionRow,
    t.ApiTokenRow,
    t.OneTimeSecretRow,
    t.PasskeyRow,
    t.TotpRow,
    t.ExternalIdentityRow,
    t.MakerTieRow,
    t.PartialUploadRow,
    t.LiveTestRow,
)


def erase_account(session: Session, *, tester_id: int, is_again: bool = False) -> bool:
    """Erase who somebody was; their runs stay, by a neutral name, with figures and files.

    Erased are name, e-mail, password, passkeys, codes, tokens, sign-ins, ties, drafts with their
    photographs, every text of theirs (the journal keeps its digest, so that its seals hold), and
    free text on runs, rigs and pieces: notes, names, names of files.

    Parameters
    ----------
    is_again : after a restored backup: the journal says that the rule did it.

    Returns
    -------
    False if it was erased already.
    """
    account = session.get_one(t.TesterRow, tester_id, with_for_update=True)
    if account.erased_at is not None:
        return False
    _erase_drafts(session, tester_id)
    for own in _OWN:
        session.execute(delete(own).where(own.tester_id == tester_id))
    _erase_words(session, tester_id)
    _erase_things(session, tester_id)
    account.name, account.role = NEUTRAL_NAME, Role.READER.value
    account.email = account.email_key = account.email_confirmed_at = None
    account.password_hash = account.expires_at = account.calibration_months = None
    account.is_vouched = False
    account.erased_at = now()
    session.flush()
    _show_anew(session, tester_id)
    record(
        session,
        actor=SYSTEM if is_again else Actor("tester", tester_id),
        act="account erased",
        subject_kind="tester",
        subject_id=tester_id,
    )
    return True


def _erase_drafts(session: Session, tester_id: int) -> None:
    """Drafts, and photographs that no run shows. Their files are swept."""
    photo = t.PhotoRow
    loose = select(photo.id).where(photo.tester_id == tester_id, photo.run_id.is_(None))
    session.execute(delete(t.JobRow).where(t.JobRow.photo_id.in_(loose)))
    session.execute(delete(photo).where(photo.tester_id == tester_id, photo.run_id.is_(None)))
    session.execute(delete(t.DraftRow).where(t.DraftRow.tester_id == tester_id))


def _erase_words(session: Session, tester_id: int) -> None:
    text, statement = t.PersonTextRow, t.StatementRow
    session.execute(update(text).where(text.tester_id == tester_id).values(text=None, salt=None))
    session.execute(update(statement).where(statement.by_id == tester_id).values(source=_REMOVED))


def _erase_things(session: Session, tester_id: int) -> None:
    revision, run = t.RunRevisionRow, t.RunRow
    mine = select(run.id).where(run.tester_id == tester_id)
    session.execute(
        update(revision)
        .where(revision.run_id.in_(mine))
        .values(notes=None, supply_note=None, file_name=FILE_NAME)
    )
    specimen, rig, rig_revision = t.SpecimenRow, t.RigRow, t.RigRevisionRow
    session.execute(
        update(specimen).where(specimen.owner_id == tester_id).values(label=None, obtained=None)
    )
    own_rigs = select(rig.id).where(rig.owner_id == tester_id)
    session.execute(update(rig_revision).where(rig_revision.rig_id.in_(own_rigs)).values(name=None))
    session.execute(update(rig).where(rig.owner_id == tester_id).values(slug="rig"))


def _show_anew(session: Session, tester_id: int) -> None:
    """What caches were told about the runs changes, so that none shows the old name."""
    run = t.RunRow
    session.execute(update(run).where(run.tester_id == tester_id).values(updated_at=now()))
    appliances = session.execute(
        select(run.appliance_id).where(run.tester_id == tester_id).distinct()
    ).scalars()
    for appliance_id in list(appliances):
        rewrite_listing(session, appliance_id=appliance_id)
