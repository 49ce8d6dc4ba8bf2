"""Links and codes that work once and for a while. Only their SHA-256 is kept."""

import secrets
from collections.abc import Mapping
from datetime import timedelta

from sqlalchemy import delete, select, update
from sqlalchemy.orm import Session

from server.errors import LinkOver
from server.model.measured import JsonValue
from server.model.people import SecretPurpose
from server.store.journal import now
from server.store.people import secret_sha256
from server.store.tables import OneTimeSecretRow

OVER = "This link or code was used already, or its time is over. Ask for a new one."


def new_secret(
    session: Session,
    *,
    purpose: SecretPurpose,
    minutes: float,
    tester_id: int | None = None,
    payload: Mapping[str, JsonValue] | None = None,
    secret: str | None = None,
) -> str:
    """Keep a fresh secret; gives it in clear, the only time.

    Parameters
    ----------
    minutes : until it is over.
    tester_id : whose it is; None where nobody is known yet.
    payload : what it stands for.
    secret : one made elsewhere (a passkey's challenge); None: 256 random bits.
    """
    secret = secret or secrets.token_urlsafe(32)
    at = now()
    session.add(
        OneTimeSecretRow(
            sha256=secret_sha256(secret),
            purpose=purpose.value,
            tester_id=tester_id,
            payload=dict(payload or {}),
            created_at=at,
            expires_at=at + timedelta(minutes=minutes),
        )
    )
    session.flush()
    return secret


def find_secret(
    session: Session, secret: str, *purposes: SecretPurpose, is_locked: bool = False
) -> OneTimeSecretRow:
    """The live secret of one of these purposes, not used by this.

    Raises
    ------
    LinkOver: used, over, of another purpose or none of ours; which of them is not told.
    """
    query = select(OneTimeSecretRow).where(
        OneTimeSecretRow.sha256 == secret_sha256(secret),
        OneTimeSecretRow.purpose.in_([one.value for one in purposes]),
        OneTimeSecretRow.used_at.is_(None),
        OneTimeSecretRow.expires_at > now(),
    )
    row = session.execute(query.with_for_update() if is_locked else query).scalar_one_or_none()
    if row is None:
        raise LinkOver(OVER)
    return row


def use_secret(session: Session, secret: str, *purposes: SecretPurpose) -> OneTimeSecretRow:
    """The same, and it is used by this. Of two who use it at once, one is refused."""
    row = find_secret(session, secret, *purposes, is_locked=True)
    row.used_at = now()
    return row


def end_secrets(session: Session, *purposes: SecretPurpose, tester_id: int | None) -> None:
    """Make every unused secret of these purposes worthless."""
    session.execute(
        update(OneTimeSecretRow)
        .where(
            OneTimeSecretRow.tester_id == tester_id,
            OneTimeSecretRow.purpose.in_([one.value for one in purposes]),
            OneTimeSecretRow.used_at.is_(None),
        )
        .values(used_at=now(), payload={})
    )


def forget_old_secrets(session: Session) -> int:
    """Remove secrets that are over, and used ones after a day; how many."""
    at = now()
    gone = session.execute(
        delete(OneTimeSecretRow)
        .where(
            (OneTimeSecretRow.expires_at <= at)
            | (OneTimeSecretRow.used_at < at - timedelta(days=1))
        )
        .returning(OneTimeSecretRow.sha256)
    )
    return len(gone.all())
