"""`benchledger appoint`: who administers and maintains a ledger; how the first one is made."""

from server.actions.set_role import find_person, set_role, set_vouched
from server.model.people import Role
from server.settings import Settings
from server.store.database import make_engine, migrate, write_session
from server.store.journal import OPERATOR


def appoint(settings: Settings, *, who: str, role: Role | None, vouch: bool) -> None:
    """Give an account a role, vouch for it, or both.

    Raises
    ------
    NotFound, Conflict: nobody, or several, by that address or name; or its address is unconfirmed.
    """
    migrate(settings)
    engine = make_engine(settings)
    try:
        with write_session(engine) as session:
            person = find_person(session, email_or_name=who)
            if role is not None:
                set_role(session, public_id=person.public_id, role=role, actor=OPERATOR)
            if vouch:
                set_vouched(session, public_id=person.public_id, is_vouched=True, actor=OPERATOR)
            name, has_role = person.name, person.role
    finally:
        engine.dispose()
    print(f"{name} is {has_role}{', vouched for' if vouch else ''}.")
    if role in {Role.MAINTAINER, Role.ADMINISTRATOR}:
        print("The role works once they have signed in with a second factor (/account).")
