"""A new password: by who knows the old one, or by a letter to who does not."""

from sqlalchemy import delete
from sqlalchemy.orm import Session

from server.actions.one_time import OVER, end_secrets, find_secret, new_secret, use_secret
from server.errors import LinkOver
from server.model.people import SecretPurpose
from server.store.journal import Actor, record
from server.store.tables import TesterRow, WebSessionRow

RESET_MINUTES = 30


def change_password(
    session: Session, *, tester_id: int, password_hash: str, keep_session: str | None = None
) -> None:
    """Set an account's password; every other sign-in of it ends.

    Parameters
    ----------
    password_hash : made before: no session is open while it is.
    keep_session : public id of the sign-in that stays; None: none does.
    """
    account = session.get_one(TesterRow, tester_id, with_for_update=True)
    account.password_hash = password_hash
    end_secrets(session, SecretPurpose.RESET_PASSWORD, tester_id=tester_id)
    end_sign_ins = delete(WebSessionRow).where(WebSessionRow.tester_id == tester_id)
    if keep_session is not None:
        end_sign_ins = end_sign_ins.where(WebSessionRow.public_id != keep_session)
    session.execute(end_sign_ins)
    record(
        session,
        actor=Actor("tester", tester_id),
        act="password changed",
        subject_kind="tester",
        subject_id=tester_id,
    )


def replace_hash(session: Session, *, tester_id: int, password_hash: str) -> None:
    """Keep a known password under today's parameters. It is the same password, so nothing ends."""
    session.get_one(TesterRow, tester_id, with_for_update=True).password_hash = password_hash


def ask_reset(session: Session, *, tester_id: int | None) -> str:
    """A secret for the letter that lets somebody set a new password; earlier ones end.

    For nobody one is kept too, which no letter holds: so asking takes as long for an address that
    has no account.
    """
    end_secrets(session, SecretPurpose.RESET_PASSWORD, tester_id=tester_id)
    return new_secret(
        session,
        purpose=SecretPurpose.RESET_PASSWORD,
        minutes=RESET_MINUTES,
        tester_id=tester_id,
    )


def check_reset(session: Session, *, secret: str) -> int:
    """Whose reset a link is; it stays good.

    Raises
    ------
    LinkOver: used, over or none of ours.
    """
    tester_id = find_secret(session, secret, SecretPurpose.RESET_PASSWORD).tester_id
    if tester_id is None:
        raise LinkOver(OVER)
    return tester_id


def reset_password(session: Session, *, secret: str, password_hash: str) -> int:
    """Set the password of the account whose link it is, and end all its sign-ins; whose it was.

    Raises
    ------
    LinkOver: used, over or none of ours.
    """
    tester_id = use_secret(session, secret, SecretPurpose.RESET_PASSWORD).tester_id
    if tester_id is None:
        raise LinkOver(OVER)
    change_password(session, tester_id=tester_id, password_hash=password_hash)
    return tester_id
