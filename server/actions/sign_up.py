"""Sign up: an account that waits for its e-mail address to be confirmed."""

from dataclasses import dataclass
from datetime import timedelta

from sqlalchemy.orm import Session

from server.actions.one_time import end_secrets, new_secret
from server.credentials.emails import email_key, read_email
from server.errors import Conflict, InvalidInput, Problem
from server.model.accounts import Known
from server.model.people import Role, SecretPurpose
from server.store.accounts import known_by_key
from server.store.identity import new_public_id
from server.store.journal import now
from server.store.tables import TesterRow

CONFIRM_HOURS = 24
# An account that nobody confirms is forgotten with its drafts.
UNCONFIRMED_DAYS = 7
MAX_NAME = 80


@dataclass(frozen=True, slots=True)
class SignedUp:
    """`is_known`: another account has the address, so the letter says so instead of the link."""

    tester_id: int
    email: str
    secret: str
    is_known: bool


def tidy_name(name: str) -> str:
    """A name as it is shown.

    Raises
    ------
    InvalidInput: empty, too long, or of characters that are not written.
    """
    tidy = " ".join(name.split())
    if not tidy or len(tidy) > MAX_NAME or not tidy.isprintable():
        message = f"a name has 1 to {MAX_NAME} characters."
        problem = Problem(message, "It is shown beside your runs; any name will do.", field="name")
        raise InvalidInput("name", [problem])
    return tidy


def read_who(*, name: str, email: str) -> tuple[str, str]:
    """Name and address as they are kept.

    Raises
    ------
    InvalidInput: with what is wrong with either.
    """
    problems: list[Problem] = []
    try:
        name = tidy_name(name)
    except InvalidInput as refusal:
        problems += refusal.problems
    try:
        email = read_email(email)
    except InvalidInput as refusal:
        problems += refusal.problems
    if problems:
        raise InvalidInput("sign-up", problems)
    return name, email


def find_known(session: Session, *, email: str) -> tuple[str, Known | None]:
    """An address as it is written to, and the account that has it.

    Raises
    ------
    InvalidInput: it is no address.
    """
    read = read_email(email)
    return read, known_by_key(session, email_key=email_key(read))


def sign_up(
    session: Session,
    *,
    name: str,
    email: str,
    password_hash: str,
    tester_id: int | None = None,
    next_address: str = "/account",
) -> SignedUp:
    """Make an account, or make one of a visit, so that what was tried stays where it is.

    The address is the account's only once it is confirmed: until then nobody is kept from it, and
    an address that has an account already leads to the same account in waiting, which nothing
    confirms. What is done and answered is the same in both cases.

    Parameters
    ----------
    name : as it will be shown.
    email : checked before, see `read_email`.
    password_hash : of the password, made before: no session is open while it is.
    tester_id : a visitor's or an unconfirmed account; None: a new one.
    next_address : where confirming leads.

    Returns
    -------
    SignedUp with the secret for the letter.

    Raises
    ------
    InvalidInput: the name.
    Conflict: the account has a confirmed address already.
    """
    tidy = tidy_name(name)
    at = now()
    if tester_id is None:
        row = TesterRow(public_id=new_public_id(), name=tidy, created_at=at)
        session.add(row)
    else:
        row = session.get_one(TesterRow, tester_id, with_for_update=True)
        if Role(row.role) not in {Role.VISITOR, Role.READER} or row.email is not None:
            raise Conflict("You have an account already; sign out to make another one.")
    row.name = tidy
    row.role = Role.READER.value
    row.password_hash = password_hash
    row.expires_at = at + timedelta(days=UNCONFIRMED_DAYS)
    session.flush()
    return ask_to_confirm(session, tester_id=row.id, email=email, next_address=next_address)


def ask_to_confirm(
    session: Session, *, tester_id: int, email: str, next_address: str = "/account"
) -> SignedUp:
    """A fresh link for an unconfirmed account; earlier ones are worth nothing then."""
    end_secrets(session, SecretPurpose.CONFIRM_EMAIL, tester_id=tester_id)
    secret = new_secret(
        session,
        purpose=SecretPurpose.CONFIRM_EMAIL,
        minutes=CONFIRM_HOURS * 60,
        tester_id=tester_id,
        payload={"email": email, "next": next_address},
    )
    known = known_by_key(session, email_key=email_key(email))
    return SignedUp(tester_id, email, secret, is_known=known is not None)
