"""Signing the command in: it shows a code, somebody signed in approves it in the browser.

Two secrets: the code, short enough to compare, by which the page finds what is asked; and a long
one that only the command has, so that nobody else can fetch the token that was approved.
"""

import hmac
import secrets
from dataclasses import dataclass
from datetime import datetime

from sqlalchemy.orm import Session

from server.actions.issue_token import IssuedToken, make_token
from server.actions.one_time import OVER, find_secret, new_secret, use_secret
from server.errors import LinkOver, NotAllowed
from server.model.people import SEND, SecretPurpose, scopes_of
from server.model.views import Tester
from server.store.journal import by, record
from server.store.people import secret_sha256, tester_by_id

MINUTES = 10.0
POLL_S = 2
TOKEN_DAYS = 90.0
_MAX_WHERE = 100
# No vowels, so that no code is a word, and nothing that is misread.
_LETTERS = "BCDFGHJKLMNPQRSTVWXZ"
_LENGTH = 8


@dataclass(frozen=True, slots=True)
class Begun:
    """What the command shows (`code`) and what it keeps to itself (`secret`)."""

    code: str
    secret: str


@dataclass(frozen=True, slots=True)
class Asked:
    """What somebody is asked to approve: where the command says it runs, and since when."""

    code: str
    where: str
    at: datetime
    address: str


def begin_command_sign_in(session: Session, *, where: str, address: str) -> Begun:
    """Keep what a command asks, until it is approved or MINUTES have passed.

    Parameters
    ----------
    where : what the command says of its machine; shown, never trusted.
    address : network address that it came from; shown too.
    """
    letters = "".join(secrets.choice(_LETTERS) for _ in range(_LENGTH))
    secret = secrets.token_urlsafe(32)
    said = "".join(c for c in where if c.isprintable())[:_MAX_WHERE]
    new_secret(
        session,
        purpose=SecretPurpose.COMMAND,
        minutes=MINUTES,
        secret=letters,
        payload={"proof": secret_sha256(secret), "where": said, "address": address},
    )
    return Begun(code=f"{letters[:4]}-{letters[4:]}", secret=secret)


def read_command_sign_in(session: Session, *, code: str) -> Asked:
    """What a code asks for.

    Raises
    ------
    LinkOver: no such code, used, or too late.
    """
    row = find_secret(session, _plain(code), SecretPurpose.COMMAND)
    if row.payload.get("decided"):
        raise LinkOver(OVER)
    payload = row.payload
    return Asked(code, str(payload["where"]), row.created_at, str(payload["address"]))


def decide_command_sign_in(
    session: Session, *, code: str, tester: Tester, is_approved: bool
) -> None:
    """Approve or refuse it. The token is made when the command fetches it, so none lies about.

    Raises
    ------
    LinkOver: no such code, decided already, or too late.
    NotAllowed: the account may not send.
    """
    if SEND not in tester.scopes:
        raise NotAllowed("Confirm your e-mail address first; then the command can send for you.")
    row = find_secret(session, _plain(code), SecretPurpose.COMMAND, is_locked=True)
    if row.payload.get("decided"):
        raise LinkOver(OVER)
    row.tester_id = tester.id if is_approved else None
    row.payload = {**row.payload, "decided": "approved" if is_approved else "refused"}
    record(
        session,
        actor=by(tester),
        act="command approved" if is_approved else "command refused",
        subject_kind="tester",
        subject_id=tester.id,
    )


def fetch_command_token(session: Session, *, code: str, secret: str) -> IssuedToken | None:
    """The token of an approved sign-in, once; None while nobody has decided.

    Raises
    ------
    LinkOver: no such code, fetched already, or too late.
    NotAllowed: it was refused, or the account may not send any more.
    """
    row = find_secret(session, _plain(code), SecretPurpose.COMMAND)
    if not hmac.compare_digest(str(row.payload["proof"]), secret_sha256(secret)):
        raise LinkOver(OVER)
    decided = row.payload.get("decided")
    if decided is None:
        return None
    use_secret(session, _plain(code), SecretPurpose.COMMAND)
    if decided != "approved" or row.tester_id is None:
        raise NotAllowed("This was refused in the browser.")
    tester = tester_by_id(session, tester_id=row.tester_id)
    if SEND not in scopes_of(tester.role, token_scopes=(SEND,), has_second_factor=False):
        raise NotAllowed("This account may not send.")
    label = f"command, {row.payload['where']}"
    return make_token(
        session, tester=tester, scopes=(SEND,), days=TOKEN_DAYS, label=label, actor=by(tester)
    )


def _plain(code: str) -> str:
    return "".join(c for c in code.upper() if c in _LETTERS)
