"""What waits at the desk of the demonstration: invented people, who report, contest and answer."""

from pathlib import Path

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.answer_claim import answer_claim
from server.actions.decide_run import return_run
from server.actions.enrol_tester import enrol_tester
from server.actions.issue_token import issue_token
from server.actions.raise_concern import About, ask_for_test, contest_return, report_problem
from server.actions.speak_for_maker import ask_to_speak, confirm_mailbox, set_maker_domain
from server.commands.demo_token import keep_token
from server.model.moderation import RemarkSent
from server.model.people import MAINTAIN, SEND, StatementKind
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.model.words import RunKind, RunState
from server.store import tables as t
from server.store.database import write_session
from server.store.people import tester_for_token

TOKEN_FILE = "demo-maintainer-token"  # noqa: S105  a file's name
MAINTAINER = "Merle Aske"
OTHER_MAINTAINER = "Oddny Fenn"
REPRESENTATIVE = "Pim Rook"
# Sent once more, so that there is a run to return: nobody is published at once by this rule.
AGAIN = "demonstration-desk: sent again"
NOBODY_AT_ONCE = PublishingRule(standing_runs=1_000_000)


def maintainer_token(engine: Engine, data: Path) -> str:
    """The token of the demonstration's maintainer, in a file only its owner reads."""
    return keep_token(
        engine, data / TOKEN_FILE, tester=MAINTAINER, scopes=(SEND, MAINTAIN), label="desk"
    )


def fill_desk(engine: Engine) -> None:
    """Report, contest and answer, once: a second start adds nothing."""
    with write_session(engine) as session:
        if session.scalars(select(t.ConcernRow.id).limit(1)).first() is not None:
            return
        _report(session)
        _contest(session)
        _answer(session)


def _report(session: Session) -> None:
    run = session.scalars(
        select(t.RunRow)
        .where(t.RunRow.state == RunState.PUBLISHED, t.RunRow.kind == RunKind.BRAKE.value)
        .order_by(t.RunRow.id.desc())
        .limit(1)
    ).one()
    report_problem(
        session,
        about=About(run_id=run.public_id, figure="efficiency_max"),
        text="The second model of this series has brushes of another grade. Which one was tested?",
        reporter=None,
        contact="reader@example.org",
    )
    appliance = session.get_one(t.ApplianceRow, run.appliance_id)
    for wish in ("in use", "in use", "another tester"):
        ask_for_test(session, appliance_id=appliance.public_id, wish=wish, reporter=None)


def _contest(session: Session) -> None:
    """A run sent twice, returned by one maintainer, contested by its tester."""
    run = session.scalars(select(t.RunRow).where(t.RunRow.idempotency_key == AGAIN)).one_or_none()
    if run is None or run.state != RunState.WAITING:
        return
    other = _maintainer(session, OTHER_MAINTAINER)
    return_run(
        session,
        public_id=run.public_id,
        version=run.version,
        maintainer=other,
        reason="This file was sent before.",
        remarks=[RemarkSent("file", "The same bytes as an earlier run of yours: sent twice?")],
    )
    session.flush()
    account = session.get_one(t.TesterRow, run.tester_id)
    tester = Tester(account.id, account.public_id, account.name, frozenset({SEND}))
    contest_return(
        session,
        run_id=run.public_id,
        tester=tester,
        text="It is the same file on purpose: the first one was sent with the wrong rig.",
    )


def _answer(session: Session) -> None:
    row = session.execute(
        select(t.ClaimRow, t.ApplianceRow)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
        .where(t.ClaimRow.quantity == "power", t.ClaimRow.footnote.is_not(None))
        .order_by(t.ClaimRow.id)
        .limit(1)
    ).one()
    claim, appliance = row.ClaimRow, row.ApplianceRow
    domain = f"{appliance.maker_key.replace(' ', '-')}.example"
    other = _maintainer(session, OTHER_MAINTAINER)
    set_maker_domain(session, maker=appliance.maker, domain=domain, maintainer=other)
    speaker = enrol_tester(session, name=REPRESENTATIVE)
    secret = ask_to_speak(session, maker=appliance.maker, mailbox=f"press@{domain}", tester=speaker)
    confirm_mailbox(session, secret=secret, tester=speaker)
    answer_claim(
        session,
        claim_id=claim.public_id,
        kind=StatementKind.MAKER,
        text="The figure is the motor’s own, measured on our bench for two seconds from cold, "
        "without the appliance around it.",
        source="Letter of our laboratory",
        stated_on=None,
        tester=speaker,
    )


def _maintainer(session: Session, name: str) -> Tester:
    token = issue_token(session, tester=name, scopes=(MAINTAIN,), label="demonstration").token
    session.flush()
    found = tester_for_token(session, token=token)
    assert found is not None
    return found
