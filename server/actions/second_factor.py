"""A second factor by codes: set up, taken, replaced by recovery codes, removed."""

from pathlib import Path

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.actions.one_time import end_secrets, new_secret
from server.credentials import codes
from server.credentials.sealing import seal, unseal
from server.errors import Conflict, InvalidInput, Problem
from server.model.people import SecretPurpose
from server.store.journal import Actor, now, record
from server.store.people import secret_sha256
from server.store.tables import OneTimeSecretRow, TotpRow

# Recovery codes last until they are used or replaced.
_RECOVERY_MINUTES = 20 * 365 * 24 * 60


def begin_codes(session: Session, *, tester_id: int, data: Path) -> None:
    """Keep a fresh secret, sealed, that counts for nothing until a code of it was given.

    Raises
    ------
    Conflict: codes are set up already.
    """
    row = session.get(TotpRow, tester_id, with_for_update=True)
    if row is not None and row.confirmed_at is not None:
        raise Conflict("Codes are set up already. Remove them first.")
    sealed = seal(data, codes.new_secret(), purpose=_purpose(tester_id))
    if row is None:
        session.add(TotpRow(tester_id=tester_id, sealed_secret=sealed))
    else:
        row.sealed_secret, row.last_step = sealed, None
    session.flush()


def pending_secret(session: Session, *, tester_id: int, data: Path) -> str | None:
    """The secret that is being set up, to be shown to its owner; None once it is confirmed."""
    row = session.get(TotpRow, tester_id)
    if row is None or row.confirmed_at is not None:
        return None
    return unseal(data, row.sealed_secret, purpose=_purpose(tester_id))


def setup_shown(secret: str, *, account: str) -> tuple[str, str]:
    """The secret as a picture (SVG) for an authenticator, and as text in groups of four."""
    text = " ".join(secret[i : i + 4] for i in range(0, len(secret), 4))
    return codes.setup_picture(secret, account=account), text


def confirm_codes(session: Session, *, tester_id: int, code: str, data: Path) -> tuple[str, ...]:
    """Make the codes count, once one was given; recovery codes, shown this once.

    Raises
    ------
    InvalidInput: the code is none of this secret's at present.
    Conflict: nothing is being set up.
    """
    row = session.get(TotpRow, tester_id, with_for_update=True)
    if row is None or row.confirmed_at is not None:
        raise Conflict("No codes are being set up.")
    if not _take(row, code, data=data):
        raise InvalidInput(
            "code",
            [
                Problem(
                    "this is not the code that is due now.",
                    "Wait for the next one, and check the clock of the device that makes them.",
                    field="code",
                )
            ],
        )
    row.confirmed_at = now()
    _record(session, tester_id, "codes set up")
    return renew_recovery(session, tester_id=tester_id)


def renew_recovery(session: Session, *, tester_id: int) -> tuple[str, ...]:
    """New recovery codes, shown this once; those of before end."""
    end_secrets(session, SecretPurpose.RECOVERY, tester_id=tester_id)
    made = codes.new_recovery_codes()
    for code in made:
        new_secret(
            session,
            purpose=SecretPurpose.RECOVERY,
            minutes=_RECOVERY_MINUTES,
            tester_id=tester_id,
            secret=codes.recovery_digest(code),
        )
    _record(session, tester_id, "recovery codes made")
    return made


def take_code(session: Session, *, tester_id: int, code: str, data: Path) -> bool:
    """Whether it is a code of this account that is due now and was never taken before; it is
    taken by this. A recovery code will do as well, once."""
    row = session.get(TotpRow, tester_id, with_for_update=True)
    if row is not None and row.confirmed_at is not None and _take(row, code, data=data):
        return True
    recovery = session.execute(
        select(OneTimeSecretRow)
        .where(
            OneTimeSecretRow.sha256 == secret_sha256(codes.recovery_digest(code)),
            OneTimeSecretRow.purpose == SecretPurpose.RECOVERY.value,
            OneTimeSecretRow.tester_id == tester_id,
            OneTimeSecretRow.used_at.is_(None),
        )
        .with_for_update()
    ).scalar_one_or_none()
    if recovery is None:
        return False
    recovery.used_at = now()
    _record(session, tester_id, "recovery code used")
    return True


def remove_codes(session: Session, *, tester_id: int) -> None:
    """Take the codes away, and the recovery codes with them."""
    gone = session.execute(
        delete(TotpRow).where(TotpRow.tester_id == tester_id).returning(TotpRow.tester_id)
    ).all()
    end_secrets(session, SecretPurpose.RECOVERY, tester_id=tester_id)
    if gone:
        _record(session, tester_id, "codes removed")


def _take(row: TotpRow, code: str, *, data: Path) -> bool:
    secret = unseal(data, row.sealed_secret, purpose=_purpose(row.tester_id))
    step = codes.step_of(secret, code, at=now(), last_step=row.last_step)
    if step is None:
        return False
    row.last_step = step
    return True


def _purpose(tester_id: int) -> str:
    return f"totp {tester_id}"


def _record(session: Session, tester_id: int, act: str) -> None:
    record(
        session,
        actor=Actor("tester", tester_id),
        act=act,
        subject_kind="tester",
        subject_id=tester_id,
    )
