"""Who speaks for a maker: checked through a mailbox at a mail domain that maintainers set."""

import re

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.actions.may_moderate import check_may_moderate
from server.actions.one_time import find_secret, new_secret, use_secret
from server.errors import Conflict, InvalidInput, LinkOver, NotFound, Problem
from server.model.people import SecretPurpose, TieKind
from server.model.views import Tester
from server.store import tables as t
from server.store.database import insert_if_absent
from server.store.identity import match_key, slug_of
from server.store.journal import by, now, record

LINK_HOURS = 24
_DOMAIN = re.compile(r"(?=.{4,253}$)([a-z0-9]([a-z0-9-]{0,61}[a-z0-9])?\.)+[a-z]{2,63}")


def set_maker_domain(session: Session, *, maker: str, domain: str, maintainer: Tester) -> None:
    """Set a mail domain of a maker: who has a mailbox there can be checked as representative.

    Raises
    ------
    NotFound: no appliance of that maker. NotAllowed: ties with it. InvalidInput: no domain.
    """
    key = match_key(maker)
    named = _maker_name(session, key)
    check_may_moderate(session, maintainer=maintainer, maker_keys={key})
    word = domain.strip().casefold()
    if not _DOMAIN.fullmatch(word):
        remedy = "Write what stands after the @, like example.org."
        raise InvalidInput("domain", [Problem("this is no mail domain.", remedy, field="domain")])
    values = {
        "maker_key": key, "domain": word, "set_by_id": maintainer.id, "created_at": now()
    }  # fmt: skip
    if not insert_if_absent(session, t.MakerDomainRow, values, unique=("maker_key", "domain")):
        raise Conflict(f"{word} stands for {named} already.")
    _note(session, key, act="maker domain set", maintainer=maintainer, domain=word)


def remove_maker_domain(session: Session, *, maker: str, domain: str, maintainer: Tester) -> None:
    """Take a mail domain of a maker away; representatives checked through it are none any more.

    Raises
    ------
    NotFound: it is not set. NotAllowed: ties with the maker.
    """
    key, word = match_key(maker), domain.strip().casefold()
    check_may_moderate(session, maintainer=maintainer, maker_keys={key})
    own, tie = t.MakerDomainRow, t.MakerTieRow
    gone = session.execute(
        delete(own).where(own.maker_key == key, own.domain == word).returning(own.id)
    )
    if not gone.all():
        raise NotFound(f"{word[:60]} is not set for this maker.")
    ending = session.scalars(
        select(tie).where(tie.maker_key == key, tie.kind == TieKind.REPRESENTATIVE.value)
    )
    for one in ending:
        if (one.mailbox or "").rpartition("@")[2] == word:
            one.confirmed_at = None
    _note(session, key, act="maker domain removed", maintainer=maintainer, domain=word)


def ask_to_speak(session: Session, *, maker: str, mailbox: str, tester: Tester) -> str:
    """Ask to be checked as a maker's representative; gives the secret for the letter's link.

    Raises
    ------
    NotFound: no appliance of that maker.
    InvalidInput: the mailbox is not at a mail domain of the maker.
    """
    key = match_key(maker)
    named = _maker_name(session, key)
    local, _, domain = mailbox.strip().rpartition("@")
    own = t.MakerDomainRow
    known = session.execute(
        select(own.id).where(own.maker_key == key, own.domain == domain.casefold())
    ).first()
    if known is None or not re.fullmatch(r"[^@\s<>,;\"\\]{1,64}", local):
        remedy = (
            f"Use a mailbox at a mail domain of {named}. If its domain is not known here yet, "
            "write to the maintainers by a notice."
        )
        problem = Problem("no such mail domain is set for this maker.", remedy, field="mailbox")
        raise InvalidInput("mailbox", [problem])
    return new_secret(
        session,
        purpose=SecretPurpose.CONFIRM_MAILBOX,
        minutes=LINK_HOURS * 60,
        tester_id=tester.id,
        payload={"maker_key": key, "maker": named, "mailbox": f"{local}@{domain.casefold()}"},
    )


def confirm_mailbox(session: Session, *, secret: str, tester: Tester) -> str:
    """Make a representative of who asked and has the letter; gives the maker's name.

    Raises
    ------
    LinkOver: it was used, is over, or was asked for by another account.
    """
    row = find_secret(session, secret, SecretPurpose.CONFIRM_MAILBOX)
    if row.tester_id != tester.id:
        raise LinkOver("Another account asked for this link. Sign in with that one.")
    row = use_secret(session, secret, SecretPurpose.CONFIRM_MAILBOX)
    told = row.payload
    tie = session.execute(
        select(t.MakerTieRow).where(
            t.MakerTieRow.tester_id == tester.id,
            t.MakerTieRow.maker_key == told["maker_key"],
            t.MakerTieRow.kind == TieKind.REPRESENTATIVE.value,
        )
    ).scalar_one_or_none()
    if tie is None:
        tie = t.MakerTieRow(
            tester_id=tester.id,
            maker_key=told["maker_key"],
            maker=told["maker"],
            kind=TieKind.REPRESENTATIVE.value,
            created_at=now(),
        )
        session.add(tie)
    tie.mailbox, tie.confirmed_at = told["mailbox"], now()
    session.flush()
    record(
        session,
        actor=by(tester),
        act="representative confirmed",
        subject_kind="tester",
        subject_id=tester.id,
        after={"maker": slug_of(told["maker_key"])},
    )
    return str(told["maker"])


def _maker_name(session: Session, key: str) -> str:
    name = session.execute(
        select(t.ApplianceRow.maker).where(t.ApplianceRow.maker_key == key).limit(1)
    ).scalar_one_or_none()
    if name is None:
        raise NotFound("No appliance of that maker is on record.")
    return name


def _note(session: Session, key: str, *, act: str, maintainer: Tester, domain: str) -> None:
    """In the journal of the maker, under its oldest appliance: makers have no row of their own."""
    first = session.execute(
        select(t.ApplianceRow.id)
        .where(t.ApplianceRow.maker_key == key)
        .order_by(t.ApplianceRow.id)
        .limit(1)
    ).scalar_one_or_none()
    record(
        session,
        actor=by(maintainer),
        act=act,
        subject_kind="appliance",
        subject_id=first or 0,
        after={"maker": slug_of(key), "domain": domain},
    )
