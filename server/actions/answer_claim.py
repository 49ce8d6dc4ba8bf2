"""A maker's answer to a claim, what a tester heard from a maker, and taking either away."""

import re
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.decide_run import check_reason
from server.actions.may_moderate import check_may_moderate
from server.errors import Conflict, InvalidInput, NotAllowed, NotFound, Problem
from server.model.people import StatementKind, TieKind
from server.model.views import Tester
from server.store import tables as t
from server.store.identity import new_public_id
from server.store.journal import by, keep_text, now, record, witness

MAX_TEXT = 4000
MAX_SOURCE = 400
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f]")


def answer_claim(
    session: Session,
    *,
    claim_id: str,
    kind: StatementKind,
    text: str,
    source: str,
    stated_on: date | None,
    tester: Tester,
) -> str:
    """Set an answer beside a claim.

    Parameters
    ----------
    kind : `maker` needs a representative checked through a mailbox of the maker's; `correspondence`
        is any tester's note of what was asked and answered.
    source : where it was said: a letter, an e-mail, a page.
    stated_on : when; None: today.

    Returns
    -------
    The public id of the statement.

    Raises
    ------
    NotFound: no such claim. NotAllowed: not a checked representative of its maker.
    InvalidInput: no text, no source, a day that is yet to come.
    """
    claim, appliance = _claim(session, claim_id)
    if kind is StatementKind.MAKER and not speaks_for(
        session, tester_id=tester.id, maker_key=appliance.maker_key
    ):
        raise NotAllowed(
            f"Answers of {appliance.maker} are set by its representatives, checked through a "
            "mailbox of its own."
        )
    today = now().date()
    day = stated_on or today
    problems = _problems(text, source, is_ahead=day > today)
    if problems:
        raise InvalidInput("answer", problems)
    row = _add(session, claim, kind=kind, text=text, source=source, day=day, tester=tester)
    return row.public_id


def _add(
    session: Session,
    claim: t.ClaimRow,
    *,
    kind: StatementKind,
    text: str,
    source: str,
    day: date,
    tester: Tester,
) -> t.StatementRow:
    said = keep_text(session, text.strip(), by_id=tester.id)
    row = t.StatementRow(
        public_id=new_public_id(),
        claim_id=claim.id,
        kind=kind.value,
        text_id=said.id,
        source=" ".join(source.split()),
        stated_on=day,
        by_id=tester.id,
        created_at=now(),
    )
    session.add(row)
    session.flush()
    record(
        session,
        actor=by(tester),
        act="statement added",
        subject_kind="appliance",
        subject_id=claim.appliance_id,
        after={
            "statement": row.public_id,
            "claim": claim.public_id,
            "kind": kind.value,
            "said": witness(said),
        },
    )
    return row


def remove_statement(session: Session, *, public_id: str, maintainer: Tester, reason: str) -> None:
    """Take an answer off the pages; it and the reason stay on record.

    Raises
    ------
    NotFound, NotAllowed: their own, or of a maker they have ties with. Conflict: removed already.
    InvalidInput: no reason.
    """
    row, appliance = _statement(session, public_id)
    _check(session, row, appliance, maintainer)
    if row.removed_at is not None:
        raise Conflict("This answer is removed already.")
    check_reason(reason, "A removal needs its reason.")
    row.removed_at = row.looked_at = now()
    kept = keep_text(session, reason.strip(), by_id=maintainer.id)
    row.reason_id = kept.id
    record(
        session,
        actor=by(maintainer),
        act="statement removed",
        subject_kind="appliance",
        subject_id=appliance.id,
        before={"statement": row.public_id, "removed": False},
        after={"statement": row.public_id, "removed": True},
        note=reason.strip(),
        texts={"reason": kept},
    )


def look_at_statement(session: Session, *, public_id: str, maintainer: Tester) -> None:
    """Note that a maintainer saw an answer: it leaves the queue. Raises as `remove_statement`."""
    row, appliance = _statement(session, public_id)
    _check(session, row, appliance, maintainer)
    if row.looked_at is not None:
        raise Conflict("This answer was looked at already.")
    row.looked_at = now()
    record(
        session,
        actor=by(maintainer),
        act="statement looked at",
        subject_kind="appliance",
        subject_id=appliance.id,
        before={"statement": row.public_id, "looked_at": False},
        after={"statement": row.public_id, "looked_at": True},
    )


def speaks_for(session: Session, *, tester_id: int, maker_key: str) -> bool:
    """Whether somebody is a checked representative of a maker."""
    tie = t.MakerTieRow
    found = session.execute(
        select(tie.id).where(
            tie.tester_id == tester_id,
            tie.maker_key == maker_key,
            tie.kind == TieKind.REPRESENTATIVE.value,
            tie.confirmed_at.is_not(None),
        )
    )
    return found.first() is not None


def _claim(session: Session, public_id: str) -> tuple[t.ClaimRow, t.ApplianceRow]:
    row = session.execute(
        select(t.ClaimRow, t.ApplianceRow)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
        .where(t.ClaimRow.public_id == public_id)
    ).first()
    if row is None:
        raise NotFound(f"There is no claim {public_id[:20]}.")
    return row.ClaimRow, row.ApplianceRow


def _statement(session: Session, public_id: str) -> tuple[t.StatementRow, t.ApplianceRow]:
    row = session.execute(
        select(t.StatementRow, t.ApplianceRow)
        .join(t.ClaimRow, t.ClaimRow.id == t.StatementRow.claim_id)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
        .where(t.StatementRow.public_id == public_id)
        .with_for_update(key_share=True, of=t.StatementRow)
    ).first()
    if row is None:
        raise NotFound(f"There is no answer {public_id[:20]}.")
    return row.StatementRow, row.ApplianceRow


def _check(
    session: Session, row: t.StatementRow, appliance: t.ApplianceRow, maintainer: Tester
) -> None:
    check_may_moderate(
        session,
        maintainer=maintainer,
        maker_keys={appliance.maker_key},
        owner_ids={row.by_id},
    )


def _problems(text: str, source: str, *, is_ahead: bool) -> list[Problem]:
    problems = []
    if not 0 < len(text.strip()) <= MAX_TEXT or _CONTROL.search(text):
        remedy = f"Write it in at most {MAX_TEXT} characters."
        problems.append(Problem("the text is missing or too long.", remedy, field="text"))
    if not 0 < len(source.strip()) <= MAX_SOURCE:
        remedy = "Say where it was said: a letter, an e-mail, a page."
        problems.append(Problem("the source is missing or too long.", remedy, field="source"))
    if is_ahead:
        problems.append(
            Problem("the day is yet to come.", "Give the day it was said.", field="stated_on")
        )
    return problems
