"""Accounts: found by e-mail, seen by their owner, listed for administrators."""

from sqlalchemy import ColumnElement, exists, func, or_, select
from sqlalchemy.orm import Session

from server.model.accounts import AccountView, Known, PasskeyView, PersonRow, SignInView
from server.model.people import Role, SecretPurpose
from server.model.views import Page
from server.model.words import RunState
from server.store import tables as t
from server.store.cursor import read_cursor, write_cursor
from server.store.identity import match_key
from server.store.journal import now

ASKED = (SecretPurpose.CONFIRM_EMAIL.value, SecretPurpose.CHANGE_EMAIL.value)


def known_by_key(session: Session, *, email_key: str) -> Known | None:
    """Whose confirmed address it is; one statement, whether it is anybody's or not."""
    tester = t.TesterRow
    row = session.execute(
        select(tester.id, tester.email, tester.password_hash).where(
            tester.email_key == email_key, tester.erased_at.is_(None)
        )
    ).first()
    return None if row is None else Known(row.id, row.email, row.password_hash)


def account_by_id(session: Session, *, tester_id: int) -> AccountView:
    return _view(session, session.get_one(t.TesterRow, tester_id))


def _view(session: Session, row: t.TesterRow) -> AccountView:
    secret = t.OneTimeSecretRow
    asked = session.execute(
        select(secret.payload)
        .where(
            secret.tester_id == row.id,
            secret.purpose.in_(ASKED),
            secret.used_at.is_(None),
            secret.expires_at > now(),
        )
        .order_by(secret.created_at.desc())
        .limit(1)
    ).scalar_one_or_none()
    n_codes = session.execute(
        select(func.count())
        .select_from(secret)
        .where(
            secret.tester_id == row.id,
            secret.purpose == SecretPurpose.RECOVERY.value,
            secret.used_at.is_(None),
        )
    ).scalar_one()
    codes = session.get(t.TotpRow, row.id)
    passkeys = session.execute(
        select(t.PasskeyRow).where(t.PasskeyRow.tester_id == row.id).order_by(t.PasskeyRow.id)
    ).scalars()
    providers = session.execute(
        select(t.ExternalIdentityRow.issuer)
        .where(t.ExternalIdentityRow.tester_id == row.id)
        .order_by(t.ExternalIdentityRow.id)
    ).scalars()
    return AccountView(
        id=row.id,
        public_id=row.public_id,
        name=row.name,
        role=Role(row.role),
        email=row.email,
        asked_email=str(asked["email"]) if asked is not None else None,
        password_hash=row.password_hash,
        is_vouched=row.is_vouched,
        has_codes=codes is not None and codes.confirmed_at is not None,
        n_recovery_codes=int(n_codes),
        passkeys=tuple(
            PasskeyView(one.public_id, one.label, one.created_at, one.used_at) for one in passkeys
        ),
        providers=tuple(providers),
        created_at=row.created_at,
    )


def list_sign_ins(session: Session, *, tester_id: int) -> tuple[SignInView, ...]:
    """Where an account is signed in at present, the latest seen first."""
    web, token = t.WebSessionRow, t.ApiTokenRow
    rows = session.execute(
        select(web, token.label)
        .outerjoin(token, token.id == web.token_id)
        .where(web.tester_id == tester_id, web.expires_at > now())
        .order_by(web.seen_at.desc())
    )
    return tuple(
        SignInView(
            public_id=one.public_id,
            agent=one.agent,
            created_at=one.created_at,
            seen_at=one.seen_at,
            expires_at=one.expires_at,
            token=label,
        )
        for one, label in rows
    )


def list_people(
    session: Session, *, text: str | None = None, cursor: str | None = None, limit: int = 50
) -> Page[PersonRow]:
    """Accounts by name, for administrators; visitors and erased ones are none.

    Parameters
    ----------
    text : a part of the name, or a whole e-mail address.
    """
    tester = t.TesterRow
    query = (
        select(tester, _has_second_factor(), _n_published())
        .where(tester.role != Role.VISITOR.value, tester.erased_at.is_(None))
        .order_by(tester.id)
        .limit(limit + 1)
    )
    if text:
        part = func.lower(tester.name).contains(text.strip().lower(), autoescape=True)
        query = query.where(or_(part, tester.email_key == match_key(text)))
    if cursor is not None:
        query = query.where(tester.id > read_cursor(cursor, int)[0])
    found = session.execute(query).all()
    rows = tuple(
        PersonRow(
            public_id=one.public_id,
            name=one.name,
            email=one.email,
            role=Role(one.role),
            is_vouched=one.is_vouched,
            has_second_factor=bool(is_strong),
            n_published=int(n),
            created_at=one.created_at,
        )
        for one, is_strong, n in found[:limit]
    )
    has_more = len(found) > limit
    return Page(rows, write_cursor(found[limit - 1][0].id) if has_more else None)


def _has_second_factor() -> ColumnElement[bool]:
    passkey = exists().where(t.PasskeyRow.tester_id == t.TesterRow.id)
    codes = exists().where(
        t.TotpRow.tester_id == t.TesterRow.id, t.TotpRow.confirmed_at.is_not(None)
    )
    return or_(passkey, codes)


def _n_published() -> ColumnElement[int]:
    run = t.RunRow
    return (
        select(func.count())
        .where(run.tester_id == t.TesterRow.id, run.state == RunState.PUBLISHED.value)
        .correlate(t.TesterRow)
        .scalar_subquery()
    )
