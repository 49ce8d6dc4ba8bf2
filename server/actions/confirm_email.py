"""What the button behind a letter's link does: an address becomes the account's."""

from dataclasses import dataclass

from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.actions.one_time import OVER, end_secrets, find_secret, new_secret, use_secret
from server.actions.sign_up import CONFIRM_HOURS, SignedUp
from server.credentials.emails import email_key, read_email
from server.errors import Conflict, LinkOver
from server.model.people import Role, SecretPurpose
from server.store.accounts import known_by_key
from server.store.journal import Actor, now, record
from server.store.tables import TesterRow

_PURPOSES = (SecretPurpose.CONFIRM_EMAIL, SecretPurpose.CHANGE_EMAIL)


@dataclass(frozen=True, slots=True)
class Confirmation:
    """`old_email`: the address that was the account's before, for a notice."""

    tester_id: int
    name: str
    email: str
    next_address: str
    old_email: str | None = None


def read_confirmation(session: Session, *, secret: str) -> Confirmation:
    """What a link would do; nothing is changed.

    Raises
    ------
    LinkOver: used, over or none of ours.
    """
    row = find_secret(session, secret, *_PURPOSES)
    account = session.get_one(TesterRow, row.tester_id)
    payload = row.payload
    return Confirmation(
        tester_id=account.id,
        name=account.name,
        email=str(payload["email"]),
        next_address=str(payload.get("next", "/account")),
        old_email=account.email,
    )


def confirm_email(session: Session, *, secret: str) -> Confirmation:
    """Give the address of a link to its account; an unconfirmed account becomes a tester's.

    Raises
    ------
    LinkOver: used, over or none of ours.
    Conflict: another account has the address by now.
    """
    row = use_secret(session, secret, *_PURPOSES)
    account = session.get_one(TesterRow, row.tester_id, with_for_update=True)
    if account.erased_at is not None:
        raise LinkOver(OVER)
    email = str(row.payload["email"])
    done = Confirmation(
        tester_id=account.id,
        name=account.name,
        email=email,
        next_address=str(row.payload.get("next", "/account")),
        old_email=account.email,
    )
    row.payload = {}
    before = {"role": account.role, "has_email": account.email is not None}
    account.email, account.email_key = email, email_key(email)
    account.email_confirmed_at = now()
    account.expires_at = None
    if Role(account.role) in {Role.VISITOR, Role.READER}:
        account.role = Role.TESTER.value
    try:
        session.flush()
    except IntegrityError as error:
        raise Conflict("This address belongs to another account by now.") from error
    record(
        session,
        actor=Actor("tester", account.id),
        act="e-mail confirmed",
        subject_kind="tester",
        subject_id=account.id,
        before=before,
        after={"role": account.role, "has_email": True},
    )
    return done


def ask_new_email(session: Session, *, tester_id: int, email: str) -> SignedUp:
    """A link for the new address of an account; the old one stays until it is used.

    Returns
    -------
    As for signing up: `is_known` where another account has the address.

    Raises
    ------
    InvalidInput: no address.
    """
    email = read_email(email)
    end_secrets(session, *_PURPOSES, tester_id=tester_id)
    secret = new_secret(
        session,
        purpose=SecretPurpose.CHANGE_EMAIL,
        minutes=CONFIRM_HOURS * 60,
        tester_id=tester_id,
        payload={"email": email, "next": "/account"},
    )
    known = known_by_key(session, email_key=email_key(email))
    is_known = known is not None and known.tester_id != tester_id
    return SignedUp(tester_id, email, secret, is_known=is_known)
