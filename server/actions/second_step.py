"""Between the password and the second factor: a secret of the page, good for a few minutes."""

from sqlalchemy.orm import Session

from server.actions.one_time import OVER, find_secret, new_secret, use_secret
from server.errors import LinkOver
from server.model.accounts import AccountView
from server.model.people import SecretPurpose
from server.store.accounts import account_by_id

STEP_MINUTES = 10
_KIND = "second step"


def begin_second_step(session: Session, *, tester_id: int, next_address: str) -> str:
    """Note that the first factor was right; the secret goes into the page that asks the second."""
    return new_secret(
        session,
        purpose=SecretPurpose.CHALLENGE,
        minutes=STEP_MINUTES,
        tester_id=tester_id,
        payload={"kind": _KIND, "next": next_address},
    )


def account_of_step(session: Session, *, step: str) -> AccountView:
    """Whose second factor is asked for.

    Raises
    ------
    LinkOver: too late, or none of ours.
    """
    row = find_secret(session, step, SecretPurpose.CHALLENGE)
    if row.payload.get("kind") != _KIND or row.tester_id is None:
        raise LinkOver(OVER)
    return account_by_id(session, tester_id=row.tester_id)


def end_second_step(session: Session, *, step: str) -> str:
    """The second factor was right: use the step up; where it leads.

    Raises
    ------
    LinkOver: too late, used, or none of ours.
    """
    row = use_secret(session, step, SecretPurpose.CHALLENGE)
    if row.payload.get("kind") != _KIND:
        raise LinkOver(OVER)
    return str(row.payload["next"])
