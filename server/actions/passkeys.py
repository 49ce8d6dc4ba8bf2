"""Passkeys: asked for, added, signed in with, removed. Each challenge works once."""

import secrets

from sqlalchemy import select
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session

from server.actions.one_time import find_secret, new_secret, use_secret
from server.credentials.passkeys import (
    CHALLENGE_BYTES,
    RelyingParty,
    challenge_of,
    creation_options,
    credential_id_of,
    not_proved,
    request_options,
    verify_answer,
    verify_new,
)
from server.errors import Conflict, InvalidInput, LinkOver, NotFound, Problem
from server.model.people import SecretPurpose
from server.store.identity import new_public_id
from server.store.journal import Actor, now, record
from server.store.tables import PasskeyRow, TesterRow

CHALLENGE_MINUTES = 5
MAX_PASSKEYS = 20
_MAX_LABEL = 60
_ADD, _PROVE = "add a passkey", "prove a passkey"


def ask_new_passkey(session: Session, *, tester_id: int, party: RelyingParty) -> str:
    """JSON of what the browser is asked to make for this account.

    Raises
    ------
    Conflict: the account has MAX_PASSKEYS of them.
    """
    account = session.get_one(TesterRow, tester_id)
    known = session.execute(
        select(PasskeyRow.credential_id).where(PasskeyRow.tester_id == tester_id)
    ).scalars()
    ids = list(known)
    if len(ids) >= MAX_PASSKEYS:
        raise Conflict(f"You have {len(ids)} passkeys. Remove one first.")
    challenge = _challenge(session, kind=_ADD, tester_id=tester_id)
    return creation_options(
        party,
        challenge=challenge,
        user_id=account.public_id,
        user_name=account.email or account.name,
        known=ids,
    )


def add_passkey(
    session: Session, *, tester_id: int, answer: str, label: str, party: RelyingParty
) -> None:
    """Add the passkey that the browser made.

    Raises
    ------
    InvalidInput: the answer proves nothing, or is to no challenge of this account.
    Conflict: it is an account's already.
    """
    challenge = _answered(session, answer, kind=_ADD, tester_id=tester_id)
    made = verify_new(answer, party=party, challenge=challenge)
    session.add(
        PasskeyRow(
            public_id=new_public_id(),
            tester_id=tester_id,
            credential_id=made.credential_id,
            public_key=made.public_key,
            sign_count=made.sign_count,
            label=" ".join(label.split())[:_MAX_LABEL] or "Passkey",
            created_at=now(),
        )
    )
    try:
        session.flush()
    except IntegrityError as error:
        raise Conflict("This passkey is in use already.") from error
    _record(session, tester_id, "passkey added")


def ask_passkey(session: Session, *, party: RelyingParty) -> str:
    """JSON of what the browser is asked to prove, whoever it is."""
    return request_options(party, challenge=_challenge(session, kind=_PROVE, tester_id=None))


def sign_in_with_passkey(
    session: Session, *, answer: str, party: RelyingParty, tester_id: int | None = None
) -> int:
    """Whose passkey answered.

    Parameters
    ----------
    tester_id : the account it must be, where somebody signed in proves it once more.

    Raises
    ------
    InvalidInput: the answer proves nothing; which part is not told.
    """
    challenge = _answered(session, answer, kind=_PROVE, tester_id=None)
    key = session.execute(
        select(PasskeyRow)
        .join(TesterRow, TesterRow.id == PasskeyRow.tester_id)
        .where(PasskeyRow.credential_id == credential_id_of(answer), TesterRow.erased_at.is_(None))
        .with_for_update(of=PasskeyRow)
    ).scalar_one_or_none()
    if key is None or tester_id not in (None, key.tester_id):
        raise InvalidInput(
            "passkey",
            [
                Problem(
                    "this passkey is not known here.",
                    "Use another one, or the password.",
                    field="passkey",
                )
            ],
        )
    key.sign_count = verify_answer(
        answer,
        party=party,
        challenge=challenge,
        public_key=key.public_key,
        sign_count=key.sign_count,
    )
    key.used_at = now()
    return key.tester_id


def remove_passkey(session: Session, *, tester_id: int, public_id: str) -> None:
    """Remove a passkey of one's own.

    Raises
    ------
    NotFound: no such passkey of this account.
    """
    key = session.execute(
        select(PasskeyRow).where(
            PasskeyRow.public_id == public_id, PasskeyRow.tester_id == tester_id
        )
    ).scalar_one_or_none()
    if key is None:
        raise NotFound("There is no such passkey.")
    session.delete(key)
    _record(session, tester_id, "passkey removed")


def _challenge(session: Session, *, kind: str, tester_id: int | None) -> str:
    return new_secret(
        session,
        purpose=SecretPurpose.CHALLENGE,
        minutes=CHALLENGE_MINUTES,
        tester_id=tester_id,
        payload={"kind": kind},
        secret=secrets.token_urlsafe(CHALLENGE_BYTES),
    )


def _answered(session: Session, answer: str, *, kind: str, tester_id: int | None) -> str:
    """The challenge of ours that an answer is to; it is used by this."""
    challenge = challenge_of(answer)
    try:
        row = find_secret(session, challenge, SecretPurpose.CHALLENGE)
        if row.payload.get("kind") != kind or row.tester_id != tester_id:
            raise not_proved()
        use_secret(session, challenge, SecretPurpose.CHALLENGE)
    except LinkOver as error:
        raise not_proved() from error
    return challenge


def _record(session: Session, tester_id: int, act: str) -> None:
    record(
        session,
        actor=Actor("tester", tester_id),
        act=act,
        subject_kind="tester",
        subject_id=tester_id,
    )
