"""Merging appliances, correcting plates, answers to claims, several decisions at once."""

from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.answer_claim import answer_claim, look_at_statement, remove_statement
from server.actions.check_rows import check_listing
from server.actions.correct_plate import correct_plate, runs_with_other_plate
from server.actions.decide_run import DecidedMeanwhile, publish_run
from server.actions.decide_runs import BulkAct, Picked, decide_runs, preview_decisions
from server.actions.merge_appliances import merge_appliances, preview_merge
from server.actions.pool_appliance import pool_appliance
from server.actions.raise_concern import About, report_problem
from server.actions.speak_for_maker import (
    ask_to_speak,
    confirm_mailbox,
    remove_maker_domain,
    set_maker_domain,
)
from server.errors import Conflict, InvalidInput, LinkOver, Moved, NotAllowed
from server.model.bench import Plate
from server.model.moderation import DeskFilter, DeskKind
from server.model.people import StatementKind
from server.model.views import CatalogueFilter
from server.model.words import RunState
from server.store import tables as t
from server.store.appliances import appliance_view, plate_revisions
from server.store.catalogue import list_catalogue
from server.store.desk import desk_queue
from server.store.journal import now
from server.store.statements import statements_of
from tests.actions.moderating import person, run_of, send, tie

MAKER = StatementKind.MAKER
NOTE = StatementKind.CORRESPONDENCE


def appliance_of(session: Session, run_id: str) -> t.ApplianceRow:
    return session.get_one(t.ApplianceRow, run_of(session, run_id).appliance_id)


def published(session: Session, folder: Path, *, model: str, by: str, offset: float = 0.0) -> str:
    run_id = send(session, folder, by=by, model=model, offset=offset)
    publish_run(session, public_id=run_id, version=1, maintainer=person(session, "Bo Finch"))
    session.flush()
    return run_id


def test_what_belongs_to_one_moves_to_the_other(session: Session, tmp_path: Path) -> None:
    run_a = published(session, tmp_path, model="WD 30", by="Ada Quill")
    run_b = published(session, tmp_path, model="WD-30", by="Di Orme", offset=0.01)
    keep, away = appliance_of(session, run_a), appliance_of(session, run_b)
    bo = person(session, "Bo Finch")
    report_problem(session, about=About(run_id=run_b), text="Looks doubled.", reporter=None)
    gone_claim = session.scalars(select(t.ClaimRow).where(t.ClaimRow.appliance_id == away.id)).one()
    note = answer_claim(
        session, claim_id=gone_claim.public_id, kind=NOTE, text="Asked.", source="letter",
        stated_on=None, tester=person(session, "Ada Quill"),
    )  # fmt: skip
    ids = {"source_id": away.public_id, "target_id": keep.public_id, "maintainer": bo}
    plan = preview_merge(session, **ids)
    assert (plan.runs, len(plan.specimens), plan.plates) == ((run_b,), 1, (1,))
    assert (plan.claims, plan.same_claims, plan.n_concerns) == ((), (gone_claim.public_id,), 1)
    assert appliance_of(session, run_b).id == away.id  # a preview moves nothing
    with pytest.raises(Conflict, match="changed since the preview"):
        merge_appliances(session, **ids, stamp="old", reason="The same.")
    with pytest.raises(InvalidInput):
        merge_appliances(session, **ids, stamp=plan.stamp, reason="")
    merge_appliances(session, **ids, stamp=plan.stamp, reason="The hyphen is all.")
    session.flush()
    assert appliance_of(session, run_b).id == keep.id
    with pytest.raises(Moved) as moved:
        appliance_view(session, public_id=away.public_id, viewer=None)
    assert moved.value.location.startswith(f"/appliances/{keep.public_id}")
    view = appliance_view(session, public_id=keep.public_id, viewer=None)
    assert {run.public_id for run in view.runs} == {run_a, run_b}
    assert (view.n_testers, view.n_specimens) == (2, 2)
    steady = pool_appliance(session, public_id=keep.public_id)[0]
    assert steady.pooling is not None
    assert steady.pooling.n_testers == 2
    (kept,) = statements_of(session, appliance_id=keep.public_id)
    assert kept.public_id == note
    # The old spelling still finds it.
    for words in ("wd 30", "wd-30", "millbeck"):
        found = list_catalogue(session, filters=CatalogueFilter(text=words))
        assert [one.public_id for one in found.items] == [keep.public_id]
    assert list(check_listing(session)) == []
    entry = next(one for one in view.journal if one.act == "appliance merged")
    assert entry.note == "The hyphen is all."
    stored = session.scalars(
        select(t.AuditEventRow).where(
            t.AuditEventRow.act == "appliance merged", t.AuditEventRow.subject_id == keep.id
        )
    ).one()
    assert stored.before["runs"] == [run_b]
    with pytest.raises(Conflict, match="merged into another already"):
        preview_merge(session, **ids)


def test_the_plate_that_was_current_stays_so(session: Session, tmp_path: Path) -> None:
    run_a = send(session, tmp_path, by="Ada Quill", model="WD 30")
    run_b = send(session, tmp_path, by="Di Orme", model="WD-30", offset=0.01)
    keep, away = appliance_of(session, run_a), appliance_of(session, run_b)
    bo = person(session, "Bo Finch")
    view = appliance_view(session, public_id=away.public_id, viewer=None)
    correct_plate(
        session, appliance_id=away.public_id, plate=replace(view.plate, current_a=9.0), number=1,
        reason="Misread.", maintainer=bo,
    )  # fmt: skip
    ids = {"source_id": away.public_id, "target_id": keep.public_id, "maintainer": bo}
    plan = preview_merge(session, **ids)
    before = appliance_view(session, public_id=keep.public_id, viewer=None).plate
    merge_appliances(session, **ids, stamp=plan.stamp, reason="The same.")
    session.flush()
    found = plate_revisions(session, public_id=keep.public_id)
    assert [one.revision for one in found] == [4, 3, 2, 1]
    assert found[0].content == before
    assert found[1].content.current_a == 9.0


def test_a_plate_is_corrected_with_a_reason(session: Session, tmp_path: Path) -> None:
    run_id = published(session, tmp_path, model="WD 30", by="Ada Quill")
    appliance = appliance_of(session, run_id)
    bo = person(session, "Bo Finch")
    plate = Plate(voltage_v=230.0, current_a=5.0)
    named = {"appliance_id": appliance.public_id, "plate": plate, "maintainer": bo}
    with pytest.raises(InvalidInput):
        correct_plate(session, **named, number=1, reason=" ")
    assert correct_plate(session, **named, number=1, reason="Misread.") == 2
    with pytest.raises(DecidedMeanwhile, match="revision 2"):
        correct_plate(session, **named, number=1, reason="Misread.")
    with pytest.raises(Conflict, match="says this already"):
        correct_plate(session, **named, number=2, reason="Misread.")
    view = appliance_view(session, public_id=appliance.public_id, viewer=None)
    assert (view.plate.voltage_v, view.plate_revision) == (230.0, 2)
    # Runs keep theirs, and it can be told which.
    assert runs_with_other_plate(session, appliance_id=appliance.public_id) == (run_id,)
    assert view.best is not None
    assert view.best.plate.voltage_v == 120.0


def test_a_maker_answers_once_its_mailbox_is_checked(session: Session, tmp_path: Path) -> None:
    run_id = published(session, tmp_path, model="WD 30", by="Ada Quill")
    appliance = appliance_of(session, run_id)
    claim = session.scalars(select(t.ClaimRow)).one()
    bo = person(session, "Bo Finch")
    eve = person(session, "Eve Ray", scopes=("send",))
    other = person(session, "Flo Nye", scopes=("send",))
    said = {
        "claim_id": claim.public_id, "kind": MAKER, "text": "Tested without its load.",
        "source": "letter", "stated_on": None, "tester": eve,
    }  # fmt: skip
    with pytest.raises(NotAllowed, match="representatives"):
        answer_claim(session, **said)
    asked = {"maker": "millbeck", "mailbox": "press@Millbeck.example", "tester": eve}
    with pytest.raises(InvalidInput, match="no such mail domain"):
        ask_to_speak(session, **asked)
    with pytest.raises(InvalidInput):
        set_maker_domain(session, maker="Millbeck", domain="not a domain", maintainer=bo)
    set_maker_domain(session, maker="Millbeck", domain="Millbeck.example", maintainer=bo)
    secret = ask_to_speak(session, **asked)
    assert secret not in str(session.scalars(select(t.OneTimeSecretRow.payload)).all())
    with pytest.raises(LinkOver):
        confirm_mailbox(session, secret=secret, tester=other)
    assert confirm_mailbox(session, secret=secret, tester=eve) == "Millbeck"
    with pytest.raises(LinkOver):
        confirm_mailbox(session, secret=secret, tester=eve)
    with pytest.raises(InvalidInput) as refusal:
        answer_claim(
            session, **(said | {"text": " ", "source": "", "stated_on": now().date()
            + timedelta(days=1)}),
        )  # fmt: skip
    assert [one.field for one in refusal.value.problems] == ["text", "source", "stated_on"]
    statement = answer_claim(session, **said)
    session.flush()
    (item,) = desk_queue(session, viewer=bo, filters=DeskFilter()).items
    assert (item.kind, item.public_id) == (DeskKind.STATEMENT, claim.public_id)
    look_at_statement(session, public_id=statement, maintainer=bo)
    session.flush()
    assert desk_queue(session, viewer=bo, filters=DeskFilter()).items == ()
    with pytest.raises(InvalidInput):
        remove_statement(session, public_id=statement, maintainer=bo, reason="")
    remove_statement(session, public_id=statement, maintainer=bo, reason="Not about this claim.")
    (shown,) = statements_of(session, claim_id=claim.public_id)
    assert shown.reason == "Not about this claim."
    assert shown.removed_at is not None
    remove_maker_domain(session, maker="Millbeck", domain="millbeck.example", maintainer=bo)
    session.flush()
    with pytest.raises(NotAllowed):
        answer_claim(session, **said)
    assert appliance.maker_key == "millbeck"


def test_several_at_once_each_for_itself(session: Session, tmp_path: Path) -> None:
    runs = [
        send(session, tmp_path, by=by, model=f"M {n}", offset=n / 100, is_held=n == 3)
        for n, by in enumerate(("Ada Quill", "Ada Quill", "Bo Finch", "Ada Quill"))
    ]
    bo = person(session, "Bo Finch")
    publish_run(session, public_id=runs[1], version=1, maintainer=person(session, "Cy Reed"))
    session.flush()
    picked = [Picked(one, 1) for one in (*runs, "0000000000")]
    expected = preview_decisions(session, act=BulkAct.PUBLISH, picked=picked, maintainer=bo)
    assert [one.why_not is None for one in expected] == [True, False, False, True, False]
    assert [one.is_held for one in expected] == [False, False, False, True, False]
    done = decide_runs(session, act=BulkAct.PUBLISH, picked=picked, reason="", maintainer=bo)
    assert [one.state for one in done] == [RunState.PUBLISHED, None, None, None, None]
    assert "Cy Reed" in str(done[1].refused)
    assert "your own" in str(done[2].refused)
    assert "holds this run back" in str(done[3].refused)
    again = decide_runs(
        session, act=BulkAct.RETURN, picked=[Picked(runs[3], 1)], reason="No.", maintainer=bo
    )
    assert again[0].state is RunState.RETURNED
    for wrong in ([], [Picked("0000000000", 1)] * 51):
        with pytest.raises(InvalidInput):
            decide_runs(session, act=BulkAct.RETURN, picked=wrong, reason="No.", maintainer=bo)


OF_A_MAKER = {
    "merge": lambda s, app, claim, who: preview_merge(
        s, source_id=app, target_id=app, maintainer=who
    ),
    "plate": lambda s, app, claim, who: correct_plate(
        s, appliance_id=app, plate=Plate(), number=1, reason="No.", maintainer=who
    ),
    "set domain": lambda s, app, claim, who: set_maker_domain(
        s, maker="Millbeck", domain="millbeck.example", maintainer=who
    ),
    "remove domain": lambda s, app, claim, who: remove_maker_domain(
        s, maker="Millbeck", domain="millbeck.example", maintainer=who
    ),
    "remove answer": lambda s, app, claim, who: remove_statement(
        s, public_id=claim, maintainer=who, reason="No."
    ),
    "look at answer": lambda s, app, claim, who: look_at_statement(
        s, public_id=claim, maintainer=who
    ),
}


@pytest.mark.parametrize("act", OF_A_MAKER)
@pytest.mark.parametrize("why", ["tied", "no maintainer"])
def test_nobody_acts_on_a_maker_they_have_ties_with(
    session: Session, tmp_path: Path, act: str, why: str
) -> None:
    run_id = published(session, tmp_path, model="WD 30", by="Ada Quill")
    claim = session.scalars(select(t.ClaimRow)).one()
    note = answer_claim(
        session, claim_id=claim.public_id, kind=NOTE, text="Asked.", source="letter",
        stated_on=None, tester=person(session, "Ada Quill"),
    )  # fmt: skip
    scopes = ("administer", "maintain") if why == "tied" else ("send",)
    judge = person(session, "Gil Hoe", scopes=scopes)
    if why == "tied":
        tie(session, judge, "Millbeck")
    with pytest.raises(NotAllowed):
        OF_A_MAKER[act](session, appliance_of(session, run_id).public_id, note, judge)
