"""Sign in as who an OpenID Connect provider says: known by issuer and subject, never by e-mail."""

from datetime import timedelta

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.sign_up import MAX_NAME, UNCONFIRMED_DAYS
from server.credentials.id_tokens import Identity
from server.errors import Conflict
from server.model.people import Role
from server.store.identity import new_public_id
from server.store.journal import Actor, now, record
from server.store.tables import ExternalIdentityRow, TesterRow

_NO_NAME = "somebody new"


def account_of_identity(session: Session, *, identity: Identity) -> int | None:
    """Whose identity it is; None for one that was never seen."""
    return session.execute(
        select(ExternalIdentityRow.tester_id)
        .join(TesterRow, TesterRow.id == ExternalIdentityRow.tester_id)
        .where(
            ExternalIdentityRow.issuer == identity.issuer,
            ExternalIdentityRow.subject == identity.subject,
            TesterRow.erased_at.is_(None),
        )
    ).scalar_one_or_none()


def sign_up_with_identity(
    session: Session, *, identity: Identity, visitor_id: int | None = None
) -> int:
    """An account for somebody new; it still waits for an e-mail address of its own.

    Parameters
    ----------
    visitor_id : a visit that becomes this account, with all that was tried.
    """
    at = now()
    shown = " ".join(c for c in identity.name.split() if c.isprintable())[:MAX_NAME] or _NO_NAME
    if visitor_id is None:
        row = TesterRow(public_id=new_public_id(), name=shown, created_at=at)
        session.add(row)
    else:
        row = session.get_one(TesterRow, visitor_id, with_for_update=True)
    row.name, row.role = shown, Role.READER.value
    row.expires_at = at + timedelta(days=UNCONFIRMED_DAYS)
    session.flush()
    link_identity(session, identity=identity, tester_id=row.id)
    return row.id


def link_identity(session: Session, *, identity: Identity, tester_id: int) -> None:
    """Let an account be signed in to by this identity too.

    Raises
    ------
    Conflict: it is another account's.
    """
    owner = account_of_identity(session, identity=identity)
    if owner is not None and owner != tester_id:
        raise Conflict("Another account here is signed in to that way already.")
    if owner == tester_id:
        return
    session.add(
        ExternalIdentityRow(
            tester_id=tester_id,
            issuer=identity.issuer,
            subject=identity.subject,
            created_at=now(),
        )
    )
    session.flush()
    record(
        session,
        actor=Actor("tester", tester_id),
        act="provider linked",
        subject_kind="tester",
        subject_id=tester_id,
    )
