"""Set what somebody may do, and vouch for a tester. Always on the record."""

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.errors import Conflict, NotAllowed, NotFound
from server.model.people import Role
from server.store.identity import match_key
from server.store.journal import Actor, record
from server.store.tables import TesterRow

# What can be given; the others follow from signing up.
GIVEN = (Role.TESTER, Role.MAINTAINER, Role.ADMINISTRATOR)


def find_person(session: Session, *, email_or_name: str) -> TesterRow:
    """The account with this e-mail address, else the only one with this name.

    Raises
    ------
    NotFound: nobody.
    Conflict: several share the name.
    """
    key = match_key(email_or_name)
    alive = select(TesterRow).where(
        TesterRow.erased_at.is_(None), TesterRow.role != Role.VISITOR.value
    )
    by_email = session.execute(alive.where(TesterRow.email_key == key)).scalar_one_or_none()
    if by_email is not None:
        return by_email
    named = session.execute(alive.where(func.lower(TesterRow.name) == key)).scalars().all()
    if not named:
        raise NotFound(f"Nobody here has the e-mail address or name {email_or_name}.")
    if len(named) > 1:
        raise Conflict(f"{len(named)} accounts have the name {email_or_name}. Give the address.")
    return named[0]


def set_role(session: Session, *, public_id: str, role: Role, actor: Actor) -> None:
    """Give an account a role.

    Raises
    ------
    NotFound: no such account.
    NotAllowed: one's own: nobody raises themselves, and no ledger loses its last administrator so.
    Conflict: its e-mail address is not confirmed, or the role is none that is given.
    """
    row = _person(session, public_id)
    if actor.tester_id == row.id:
        raise NotAllowed("Nobody sets their own role. Another administrator does.")
    if role not in GIVEN:
        raise Conflict(f"The role {role.value} is not given by hand.")
    if Role(row.role) is Role.READER:
        raise Conflict("This account has not confirmed its e-mail address yet.")
    change_role(session, row, role, actor=actor)


def change_role(session: Session, row: TesterRow, role: Role, *, actor: Actor) -> None:
    """Give the role and put it on the record, where it is another one."""
    if row.role == role.value:
        return
    before, row.role = row.role, role.value
    record(
        session,
        actor=actor,
        act="role set",
        subject_kind="tester",
        subject_id=row.id,
        before={"role": before},
        after={"role": row.role},
    )


def set_vouched(session: Session, *, public_id: str, is_vouched: bool, actor: Actor) -> None:
    """Vouch for a tester, in place of the runs that good standing asks for, or take it back.

    Raises
    ------
    NotFound: no such account.
    NotAllowed: oneself.
    """
    row = _person(session, public_id)
    if actor.tester_id == row.id:
        raise NotAllowed("Nobody vouches for themselves.")
    if row.is_vouched == is_vouched:
        return
    row.is_vouched = is_vouched
    record(
        session,
        actor=actor,
        act="vouched" if is_vouched else "vouching ended",
        subject_kind="tester",
        subject_id=row.id,
        before={"is_vouched": not is_vouched},
        after={"is_vouched": is_vouched},
    )


def _person(session: Session, public_id: str) -> TesterRow:
    row = session.execute(
        select(TesterRow)
        .where(
            TesterRow.public_id == public_id,
            TesterRow.erased_at.is_(None),
            TesterRow.role != Role.VISITOR.value,
        )
        .with_for_update()
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no account {public_id}.")
    return row
