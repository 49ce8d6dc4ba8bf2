"""Say that something is wrong, contest a return, send a notice, ask for a test."""

import re
from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import Conflict, InvalidInput, NotAllowed, NotFound, Problem
from server.model.people import ConcernKind, ConcernState
from server.model.views import Tester
from server.model.wishes import WISHES
from server.model.words import MetricName, RunState
from server.store import tables as t
from server.store.identity import new_public_id
from server.store.journal import READER, by, keep_text, now, record, witness
from server.store.matching import follow_merges
from server.store.runs import visible

MAX_TEXT = 4000
SHORTEST_TEXT = 10
MAX_CONTACT = 254  # the longest e-mail address, RFC 5321, 4.5.3.1.3
_MAILBOX = re.compile(r"[^@\s<>,;]{1,64}@[^@\s<>,;]+\.[^@\s<>,;.]{2,}")


@dataclass(frozen=True, slots=True)
class About:
    """What a concern is about, by public ids. `figure`: a metric's word; for a wish its word."""

    appliance_id: str | None = None
    run_id: str | None = None
    claim_id: str | None = None
    figure: str | None = None


@dataclass(frozen=True, slots=True)
class _Subject:
    appliance: t.ApplianceRow | None = None
    run: t.RunRow | None = None
    claim: t.ClaimRow | None = None


def report_problem(
    session: Session, *, about: About, text: str, reporter: Tester | None, contact: str = ""
) -> str:
    """Note that a reader finds something wrong with a figure, run, appliance or claim.

    Parameters
    ----------
    about : names at least one of them.
    text : what is wrong, in the reader's words; seen by maintainers and the reporter.
    reporter : None without an account.
    contact : an e-mail address for the answer; kept where it can be erased.

    Returns
    -------
    The public id of the report, whose page tells its state.

    Raises
    ------
    InvalidInput: no text, no such figure, an address that is none.
    NotFound: what it is about is not there, or not for this reader.
    """
    return _raise(session, ConcernKind.PROBLEM, about, text, reporter, contact=contact)


def send_notice(
    session: Session,
    *,
    about: About,
    text: str,
    name: str,
    contact: str,
    is_in_good_faith: bool,
    reporter: Tester | None = None,
) -> str:
    """Take a notice that something here is unlawful.

    It holds what Regulation (EU) 2022/2065, article 16(2), asks of one: the reasons, where it
    stands, the name and e-mail address of who sends it, and that they believe it in good faith.

    Raises
    ------
    InvalidInput: one of these is missing. NotFound: as for `report_problem`.
    """
    problems = _text_problems(text)
    if not name.strip():
        problems.append(Problem("your name is missing.", "Write it.", field="name"))
    if not _MAILBOX.fullmatch(contact.strip()):
        problems.append(_no_mailbox())
    if not is_in_good_faith:
        remedy = "Tick it if you believe that what you write is right and complete."
        problems.append(Problem("the statement is not ticked.", remedy, field="good_faith"))
    if not (about.run_id or about.appliance_id or about.claim_id):
        remedy = "Open the notice from the page it is about, or paste that page’s address."
        problems.append(Problem("it says not where it stands.", remedy, field="address"))
    if problems:
        raise InvalidInput("notice", problems)
    who = f"{' '.join(name.split())} <{contact.strip()}>"
    return _raise(session, ConcernKind.NOTICE, about, text, reporter, contact=who, is_checked=True)


def ask_for_test(
    session: Session, *, appliance_id: str, wish: str, text: str = "", reporter: Tester | None
) -> str:
    """Note that a reader would like an appliance tested, or a figure of it.

    Raises
    ------
    InvalidInput: a wish that is none of WISHES. NotFound: no such appliance.
    """
    if wish not in WISHES:
        remedy = f"Use one of {', '.join(WISHES)}."
        raise InvalidInput("request", [Problem("no such wish.", remedy, field="wish")])
    about = About(appliance_id=appliance_id, figure=wish)
    return _raise(session, ConcernKind.REQUEST, about, text, reporter, is_checked=True)


def contest_return(session: Session, *, run_id: str, tester: Tester, text: str) -> str:
    """Contest a return of one's own run; a maintainer other than who returned it decides.

    Raises
    ------
    NotFound: no such run of theirs to see. NotAllowed: another tester's run.
    Conflict: it is not returned, or is contested already.
    InvalidInput: no text.
    """
    run = session.execute(
        select(t.RunRow)
        .where(t.RunRow.public_id == run_id, visible(tester))
        .with_for_update(key_share=True)
    ).scalar_one_or_none()
    if run is None:
        raise NotFound(f"There is no run {run_id}.")
    if run.tester_id != tester.id:
        raise NotAllowed("Only its tester can contest a return.")
    if run.state != RunState.RETURNED:
        raise Conflict(f"This run is {run.state}, not returned.")
    if _open_contest(session, run) is not None:
        raise Conflict("This return is contested already; a maintainer looks at it.")
    about = About(run_id=run_id)
    return _raise(
        session, ConcernKind.CONTEST, about, text, tester, not_for_id=_returned_by(session, run)
    )


def _raise(
    session: Session,
    kind: ConcernKind,
    about: About,
    text: str,
    reporter: Tester | None,
    *,
    contact: str = "",
    not_for_id: int | None = None,
    is_checked: bool = False,
) -> str:
    if not is_checked:
        _check(about, text, contact)
    subject = _subject_of(session, about, reporter)
    # A visit ends after a day and is forgotten; what was reported stays.
    has_account = reporter is not None and not reporter.is_visitor
    reporter_id = reporter.id if reporter is not None and has_account else None
    said = keep_text(session, text.strip(), by_id=reporter_id)
    answer_to = keep_text(session, contact.strip(), by_id=reporter_id) if contact.strip() else None
    row = t.ConcernRow(
        public_id=new_public_id(),
        kind=kind.value,
        state=ConcernState.OPEN.value,
        appliance_id=subject.appliance.id if subject.appliance is not None else None,
        run_id=subject.run.id if subject.run is not None else None,
        claim_id=subject.claim.id if subject.claim is not None else None,
        figure=about.figure or None,
        text_id=said.id,
        contact_id=answer_to.id if answer_to is not None else None,
        by_id=reporter_id,
        not_for_id=not_for_id,
        created_at=now(),
        version=0,
    )
    session.add(row)
    session.flush()
    is_of_run = subject.run is not None
    thing = subject.run or subject.appliance
    assert thing is not None
    record(
        session,
        actor=by(reporter) if reporter is not None and has_account else READER,
        act=f"{kind.value} raised",
        subject_kind="run" if is_of_run else "appliance",
        subject_id=thing.id,
        after={
            "concern": row.public_id,
            "figure": row.figure.replace(" ", "-") if row.figure else None,
            "said": witness(said),
        },
    )
    return row.public_id


def _subject_of(session: Session, about: About, reporter: Tester | None) -> _Subject:
    """Raises NotFound for what is not there or not for this reader."""
    run = claim = appliance = None
    if about.run_id:
        run = session.execute(
            select(t.RunRow).where(t.RunRow.public_id == about.run_id, visible(reporter))
        ).scalar_one_or_none()
        if run is None:
            raise NotFound(f"There is no run {about.run_id[:20]}.")
        appliance = session.get_one(t.ApplianceRow, run.appliance_id)
    if about.claim_id:
        claim = session.execute(
            select(t.ClaimRow).where(t.ClaimRow.public_id == about.claim_id)
        ).scalar_one_or_none()
        if claim is None:
            raise NotFound(f"There is no claim {about.claim_id[:20]}.")
        appliance = appliance or session.get_one(t.ApplianceRow, claim.appliance_id)
    if about.appliance_id and appliance is None:
        appliance = session.execute(
            select(t.ApplianceRow).where(t.ApplianceRow.public_id == about.appliance_id)
        ).scalar_one_or_none()
        if appliance is None:
            raise NotFound(f"There is no appliance {about.appliance_id[:20]}.")
    if appliance is None:
        raise NotFound("A report is about a run, an appliance or a claim.")
    return _Subject(follow_merges(session, appliance), run, claim)


def _check(about: About, text: str, contact: str) -> None:
    problems = _text_problems(text)
    if about.figure and about.figure not in set(MetricName):
        problems.append(Problem("no such figure.", "Leave it out.", field="figure"))
    if contact.strip() and not _MAILBOX.fullmatch(contact.strip()):
        problems.append(_no_mailbox())
    if problems:
        raise InvalidInput("report", problems)


def _text_problems(text: str) -> list[Problem]:
    if SHORTEST_TEXT <= len(text.strip()) <= MAX_TEXT:
        return []
    remedy = f"Say what is wrong, in {SHORTEST_TEXT} to {MAX_TEXT} characters."
    return [Problem("the text is too short or too long.", remedy, field="text")]


def _no_mailbox() -> Problem:
    return Problem("this is no e-mail address.", "Write it like name@example.org.", field="contact")


def _open_contest(session: Session, run: t.RunRow) -> int | None:
    concern = t.ConcernRow
    return session.execute(
        select(concern.id)
        .where(
            concern.run_id == run.id,
            concern.kind == ConcernKind.CONTEST.value,
            concern.state == ConcernState.OPEN.value,
        )
        .limit(1)
    ).scalar_one_or_none()


def _returned_by(session: Session, run: t.RunRow) -> int | None:
    event = t.AuditEventRow
    return session.execute(
        select(event.tester_id)
        .where(
            event.subject_kind == "run",
            event.subject_id == run.id,
            event.act == f"run {RunState.RETURNED.value}",
        )
        .order_by(event.id.desc())
        .limit(1)
    ).scalar_one_or_none()
