"""Reports, contests, notices, requests: raised by anybody, settled by another maintainer."""

from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select, update
from sqlalchemy.orm import Session

from server.actions.decide_run import DecidedMeanwhile, publish_run, return_run
from server.actions.forget_contacts import KEPT_DAYS, forget_contacts
from server.actions.raise_concern import (
    About,
    ask_for_test,
    contest_return,
    report_problem,
    send_notice,
)
from server.actions.settle_concern import Outcome, settle_concern, take_concern
from server.actions.sign_in import start_visit
from server.actions.sweep_visits import end_expired_visits
from server.errors import Conflict, InvalidInput, NotAllowed, NotFound
from server.model.moderation import DeskFilter, DeskKind
from server.model.people import ConcernState
from server.model.words import RunState
from server.store import people
from server.store import tables as t
from server.store.concerns import concern_view, requests_of
from server.store.desk import desk_queue
from server.store.journal import journal_of, now
from tests.actions.moderating import person, run_of, send, tie

WHY = "The plate says 230 V, not 120 V."


def published(session: Session, folder: Path, **named: str) -> str:
    run_id = send(session, folder, by="Ada Quill", **named)  # type: ignore[arg-type]
    publish_run(session, public_id=run_id, version=1, maintainer=person(session, "Bo Finch"))
    session.flush()
    return run_id


def test_a_report_without_account_lands_in_the_queue(session: Session, tmp_path: Path) -> None:
    run_id = published(session, tmp_path)
    about = About(run_id=run_id, figure="efficiency_max")
    concern_id = report_problem(
        session, about=about, text=WHY, reporter=None, contact="reader@example.org"
    )
    session.flush()
    cy = person(session, "Cy Reed")
    (item,) = desk_queue(session, viewer=cy, filters=DeskFilter()).items
    assert (item.kind, item.source, item.text) == (DeskKind.PROBLEM, "concern", WHY)
    assert run_of(session, run_id).state == RunState.PUBLISHED  # a report changes no state
    settle_concern(
        session, public_id=concern_id, version=0, maintainer=cy, outcome=Outcome.STANDS,
        answer="The plate was looked at again: 120 V.",
    )  # fmt: skip
    session.flush()
    view = concern_view(session, public_id=concern_id)
    assert (view.state, view.decided_by) == (ConcernState.SETTLED, "Cy Reed")
    assert view.contact == "reader@example.org"
    acts = journal_of(session, subject_kind="run", subject_id=run_of(session, run_id).id)
    assert [one.act for one in acts][:2] == ["problem settled", "problem raised"]
    # The reader's words and address are not what everybody reads.
    assert all(WHY not in str(one) and "example.org" not in str(one) for one in acts)
    with pytest.raises(DecidedMeanwhile, match="settled, by Cy Reed"):
        settle_concern(
            session, public_id=concern_id, version=0, maintainer=person(session, "Bo Finch"),
            outcome=Outcome.STANDS, answer="Fine.",
        )  # fmt: skip


def test_a_report_can_send_a_run_back_to_waiting(session: Session, tmp_path: Path) -> None:
    run_id = published(session, tmp_path)
    concern_id = report_problem(session, about=About(run_id=run_id), text=WHY, reporter=None)
    settle_concern(
        session, public_id=concern_id, version=0, maintainer=person(session, "Cy Reed"),
        outcome=Outcome.WAITS, answer="It is looked at again.",
    )  # fmt: skip
    assert run_of(session, run_id).state == RunState.WAITING


@pytest.mark.parametrize(
    ("about", "text", "contact", "field"),
    [
        (About(), "short", "", "text"),
        (About(figure="horsepower"), WHY, "", "figure"),
        (About(), WHY, "no mailbox", "contact"),
    ],
)
def test_what_a_report_must_hold(
    session: Session, about: About, text: str, contact: str, field: str
) -> None:
    with pytest.raises(InvalidInput) as refusal:
        report_problem(session, about=about, text=text, reporter=None, contact=contact)
    assert [one.field for one in refusal.value.problems] == [field]


def test_a_report_on_what_is_not_there(session: Session, tmp_path: Path) -> None:
    waiting = send(session, tmp_path, by="Ada Quill")
    for about in (
        About(run_id="0000000000"), About(appliance_id="0000000000"),
        About(claim_id="0000000000"), About(), About(run_id=waiting),
    ):  # fmt: skip
        with pytest.raises(NotFound):
            report_problem(session, about=about, text=WHY, reporter=None)


def test_a_contested_return_goes_to_another_maintainer(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    bo, cy, ada = (person(session, name) for name in ("Bo Finch", "Cy Reed", "Ada Quill"))
    return_run(session, public_id=run_id, version=1, maintainer=bo, reason="No.")
    concern_id = contest_return(session, run_id=run_id, tester=ada, text="The meter is right.")
    session.flush()
    with pytest.raises(Conflict, match="contested already"):
        contest_return(session, run_id=run_id, tester=ada, text="The meter is right.")
    for viewer, is_barred in ((bo, True), (cy, False), (ada, True)):
        (item,) = desk_queue(session, viewer=viewer, filters=DeskFilter()).items
        assert (item.kind, item.is_barred) == (DeskKind.CONTEST, is_barred)
    for barred in (bo, ada):
        with pytest.raises(NotAllowed):
            settle_concern(
                session, public_id=concern_id, version=0, maintainer=barred,
                outcome=Outcome.STANDS, answer="It stands.",
            )  # fmt: skip
    settle_concern(
        session, public_id=concern_id, version=0, maintainer=cy, outcome=Outcome.WAITS,
        answer="You are right.",
    )  # fmt: skip
    assert run_of(session, run_id).state == RunState.WAITING
    # Who returned it does not decide on it again, now that the return was contested.
    version = run_of(session, run_id).version
    with pytest.raises(NotAllowed, match="contested"):
        publish_run(session, public_id=run_id, version=version, maintainer=bo)
    publish_run(session, public_id=run_id, version=version, maintainer=cy)


def test_only_ones_own_return_is_contested(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    ada = person(session, "Ada Quill", scopes=("send",))
    with pytest.raises(Conflict, match="not returned"):
        contest_return(session, run_id=run_id, tester=ada, text="The meter is right.")
    bo = person(session, "Bo Finch")
    return_run(session, public_id=run_id, version=1, maintainer=bo, reason="No.")
    with pytest.raises(NotAllowed):
        contest_return(session, run_id=run_id, tester=bo, text="The meter is right.")
    stranger = person(session, "Di Orme", scopes=("send",))
    with pytest.raises(NotFound):
        contest_return(session, run_id=run_id, tester=stranger, text="The meter is right.")


def test_a_notice_must_hold_what_the_regulation_names(session: Session, tmp_path: Path) -> None:
    run_id = published(session, tmp_path)
    whole = {
        "about": About(run_id=run_id), "text": WHY, "name": "Ed Vane",
        "contact": "ed@example.org", "is_in_good_faith": True,
    }  # fmt: skip
    for lacking, field in (
        ({"about": About()}, "address"), ({"text": ""}, "text"), ({"name": " "}, "name"),
        ({"contact": ""}, "contact"), ({"is_in_good_faith": False}, "good_faith"),
    ):  # fmt: skip
        with pytest.raises(InvalidInput) as refusal:
            send_notice(session, **(whole | lacking))  # type: ignore[arg-type]
        assert [one.field for one in refusal.value.problems] == [field]
    concern_id = send_notice(session, **whole)  # type: ignore[arg-type]
    session.flush()
    (item,) = desk_queue(session, viewer=person(session, "Cy Reed"), filters=DeskFilter()).items
    assert item.kind is DeskKind.NOTICE
    assert concern_view(session, public_id=concern_id).contact == "Ed Vane <ed@example.org>"
    acts = journal_of(session, subject_kind="run", subject_id=run_of(session, run_id).id)
    assert "notice raised" not in [one.act for one in acts]


def test_wishes_are_counted(session: Session, tmp_path: Path) -> None:
    run = run_of(session, published(session, tmp_path))
    appliance = session.get_one(t.ApplianceRow, run.appliance_id).public_id
    for wish in ("in use", "in use", "air or water"):
        ask_for_test(session, appliance_id=appliance, wish=wish, reporter=None)
    assert requests_of(session, appliance_id=appliance) == {"in use": 2, "air or water": 1}
    with pytest.raises(InvalidInput):
        ask_for_test(session, appliance_id=appliance, wish="a song", reporter=None)


@pytest.mark.parametrize("why", ["own words", "own run", "tied", "no maintainer"])
def test_nobody_settles_their_own(session: Session, tmp_path: Path, why: str) -> None:
    run_id = published(session, tmp_path)
    reporter = person(session, "Cy Reed") if why == "own words" else None
    concern_id = report_problem(session, about=About(run_id=run_id), text=WHY, reporter=reporter)
    judge = person(session, "Ada Quill" if why == "own run" else "Cy Reed")
    if why == "tied":
        tie(session, judge, "Millbeck")
    if why == "no maintainer":
        judge = person(session, "Flo Nye", scopes=("send",))
    with pytest.raises(NotAllowed):
        settle_concern(
            session, public_id=concern_id, version=0, maintainer=judge, outcome=Outcome.STANDS,
            answer="It stands.",
        )  # fmt: skip
    with pytest.raises(NotAllowed):
        take_concern(session, public_id=concern_id, maintainer=judge)
    row = session.scalars(select(t.ConcernRow)).one()
    assert row.state == ConcernState.OPEN


def test_an_address_is_forgotten_a_while_after_the_answer(session: Session, tmp_path: Path) -> None:
    about = About(run_id=published(session, tmp_path))
    ids = [
        report_problem(session, about=about, text=WHY, reporter=None, contact="r@example.org")
        for _ in range(3)
    ]
    for concern_id in ids[:2]:
        settle_concern(
            session, public_id=concern_id, version=0, maintainer=person(session, "Cy Reed"),
            outcome=Outcome.STANDS, answer="It stands.",
        )  # fmt: skip
    session.flush()
    session.execute(
        update(t.ConcernRow)
        .where(t.ConcernRow.public_id == ids[0])
        .values(decided_at=now() - timedelta(days=KEPT_DAYS + 1))
    )
    assert forget_contacts(session) == 1
    assert forget_contacts(session) == 0
    session.expire_all()
    found = [concern_view(session, public_id=one) for one in ids]
    assert [one.contact for one in found] == [None, "r@example.org", "r@example.org"]
    assert found[0].text == WHY


def test_a_visit_that_reported_can_be_forgotten(session: Session, tmp_path: Path) -> None:
    run_id = published(session, tmp_path)
    key = start_visit(session)
    session.flush()
    visitor = people.tester_for_session(session, key=key)
    assert visitor is not None
    concern_id = report_problem(session, about=About(run_id=run_id), text=WHY, reporter=visitor)
    session.execute(
        update(t.TesterRow)
        .where(t.TesterRow.id == visitor.id)
        .values(expires_at=now() - timedelta(hours=1))
    )
    session.flush()
    assert end_expired_visits(session) == 1
    session.flush()
    assert concern_view(session, public_id=concern_id).text == WHY
