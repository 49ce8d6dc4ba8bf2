"""A maintainer's decisions: states, locks, who may, what the journal keeps. On both databases."""

from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.decide_run import (
    DecidedMeanwhile,
    look_over_run,
    publish_run,
    return_run,
    take_down_run,
    take_run,
)
from server.actions.retry_run import retry_run
from server.actions.view_case import view_case
from server.errors import Conflict, InvalidInput, NotAllowed, NotFound
from server.model.moderation import DeskFilter, DeskKind, DeskState, RemarkSent
from server.model.publishing import PublishingRule
from server.model.words import RunState
from server.store import tables as t
from server.store.desk import desk_counts, desk_queue, next_open
from server.store.journal import now
from server.store.remarks import remarks_of
from tests.actions.moderating import person, run_of, send, tie

STRICT = PublishingRule(standing_runs=5, look_share=0.2, first_run_waits=True)


def test_a_waiting_run_is_published_and_on_record(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    maintainer = person(session, "Bo Finch")
    publish_run(session, public_id=run_id, version=1, maintainer=maintainer)
    run = run_of(session, run_id)
    assert run.state == RunState.PUBLISHED
    assert run.version == 2
    last = session.scalars(select(t.AuditEventRow).order_by(t.AuditEventRow.id.desc())).first()
    assert last is not None
    assert (last.act, last.tester_id) == ("run published", maintainer.id)
    assert last.before == {"state": "waiting"}


def test_a_return_carries_remarks_on_fields(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    maintainer = person(session, "Bo Finch")
    remarks = [RemarkSent("plate.voltage", "The plate says 230 V."), RemarkSent("file", "Cut.")]
    return_run(
        session, public_id=run_id, version=1, maintainer=maintainer, reason="See the plate.",
        remarks=remarks,
    )  # fmt: skip
    assert run_of(session, run_id).state == RunState.RETURNED
    found = remarks_of(session, run_id=run_id)
    assert {(one.field, one.text) for one in found} == {(r.field, r.text) for r in remarks}
    assert {(one.revision, one.by) for one in found} == {(1, "Bo Finch")}
    entry = session.scalars(
        select(t.AuditEventRow).where(t.AuditEventRow.act == "run returned")
    ).one()
    assert [one["field"] for one in entry.after["remarks"]] == ["plate.voltage", "file"]
    assert "230 V" not in str(entry.after)


@pytest.mark.parametrize(
    ("reason", "remarks", "field"),
    [
        ("", [], "reason"),
        ("x" * 2001, [], "reason"),
        ("ok", [RemarkSent("plate.colour", "Red.")], "remarks[1]"),
        ("ok", [RemarkSent("column.x.unit", "Red.")], "remarks[1]"),
        ("ok", [RemarkSent("rig.arm", "  ")], "remarks[1]"),
        ("ok", [RemarkSent("rig.arm", "x")] * 21, "remarks"),
    ],
)
def test_a_return_that_says_nothing_is_refused(
    session: Session, tmp_path: Path, reason: str, remarks: list[RemarkSent], field: str
) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    with pytest.raises(InvalidInput) as refusal:
        return_run(
            session, public_id=run_id, version=1, maintainer=person(session, "Bo Finch"),
            reason=reason, remarks=remarks,
        )  # fmt: skip
    assert [problem.field for problem in refusal.value.problems] == [field]
    assert run_of(session, run_id).state == RunState.WAITING


def test_the_second_maintainer_is_told_who_decided_what(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    return_run(
        session, public_id=run_id, version=1, maintainer=person(session, "Bo Finch"), reason="No."
    )
    with pytest.raises(DecidedMeanwhile, match="returned, by Bo Finch"):
        publish_run(session, public_id=run_id, version=1, maintainer=person(session, "Cy Reed"))
    assert run_of(session, run_id).state == RunState.RETURNED


def test_a_held_run_is_published_only_with_a_reason(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill", is_held=True)
    maintainer = person(session, "Bo Finch")
    with pytest.raises(InvalidInput, match="holds this run back"):
        publish_run(session, public_id=run_id, version=1, maintainer=maintainer)
    publish_run(
        session, public_id=run_id, version=1, maintainer=maintainer, note="The meter is known."
    )
    assert run_of(session, run_id).state == RunState.PUBLISHED


def test_a_run_with_a_date_is_accepted_and_waits_for_it(session: Session, tmp_path: Path) -> None:
    from datetime import timedelta

    from server.actions.publish_due import publish_due_runs

    run_id = send(session, tmp_path, by="Ada Quill")
    run = run_of(session, run_id)
    run.not_before = now().date() + timedelta(days=2)
    maintainer = person(session, "Bo Finch")
    publish_run(session, public_id=run_id, version=1, maintainer=maintainer)
    assert (run.state, run.version) == (RunState.WAITING, 2)
    assert publish_due_runs(session, today=now().date()) == 0
    with pytest.raises(Conflict, match="accepted already"):
        publish_run(session, public_id=run_id, version=2, maintainer=maintainer)
    session.flush()
    open_ones = desk_queue(session, viewer=maintainer, filters=DeskFilter())
    assert open_ones.items == ()
    accepted = desk_queue(session, viewer=maintainer, filters=DeskFilter(state=DeskState.ACCEPTED))
    assert [item.public_id for item in accepted.items] == [run_id]
    assert publish_due_runs(session, today=run.not_before) == 1
    assert run.state == RunState.PUBLISHED


def test_taking_keeps_others_out_for_a_while(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    bo, cy = person(session, "Bo Finch"), person(session, "Cy Reed")
    take_run(session, public_id=run_id, maintainer=bo)
    session.flush()
    assert desk_counts(session, viewer=bo).n_mine == 1
    assert desk_counts(session, viewer=cy).n_mine == 0
    assert next_open(session, viewer=cy) is None
    assert next_open(session, viewer=bo) is not None
    with pytest.raises(Conflict, match="Bo Finch has taken this"):
        publish_run(session, public_id=run_id, version=1, maintainer=cy)
    with pytest.raises(Conflict, match="Bo Finch has taken this"):
        take_run(session, public_id=run_id, maintainer=cy)
    take_run(session, public_id=run_id, maintainer=cy, is_over=True)
    publish_run(session, public_id=run_id, version=1, maintainer=cy)
    acts = session.scalars(select(t.AuditEventRow.act)).all()
    assert "run taken over" in acts


def test_looked_at_ends_the_look(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    bo = person(session, "Bo Finch")
    publish_run(session, public_id=run_id, version=1, maintainer=bo)
    with pytest.raises(Conflict, match="not one of those"):
        look_over_run(session, public_id=run_id, version=2, maintainer=bo)
    run_of(session, run_id).needs_look = True
    session.flush()
    (item,) = desk_queue(session, viewer=bo, filters=DeskFilter()).items
    assert item.kind is DeskKind.LOOK
    look_over_run(session, public_id=run_id, version=2, maintainer=bo)
    session.flush()
    assert desk_queue(session, viewer=bo, filters=DeskFilter()).items == ()


def test_a_parked_job_is_tried_again(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    bo, run = person(session, "Bo Finch"), run_of(session, run_id)
    run.state, run.failure = RunState.FAILED.value, "the worker ended"
    job = t.JobRow(
        act="reduce run", run_id=run.id, state="parked", tries=3, error="MemoryError",
        created_at=now(), updated_at=now(),
    )  # fmt: skip
    session.add(job)
    session.flush()
    (item,) = desk_queue(session, viewer=bo, filters=DeskFilter()).items
    assert (item.kind, item.public_id, item.text) == (DeskKind.PARKED, run_id, "MemoryError")
    retry_run(session, public_id=run_id, version=1, maintainer=bo)
    session.flush()
    assert (run.state, job.state, job.tries) == (RunState.WORKING, "queued", 0)
    assert desk_queue(session, viewer=bo, filters=DeskFilter()).items == ()
    with pytest.raises(Conflict, match="parked"):
        retry_run(session, public_id=run_id, version=2, maintainer=bo)


def test_taking_down_needs_a_reason(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    bo = person(session, "Bo Finch")
    with pytest.raises(InvalidInput, match="reason"):
        take_down_run(session, public_id=run_id, version=1, maintainer=bo, reason=" ")
    take_down_run(session, public_id=run_id, version=1, maintainer=bo, reason="Made up.")
    assert run_of(session, run_id).state == RunState.WITHDRAWN


ACTS = {
    "publish": lambda s, run, who: publish_run(s, public_id=run, version=1, maintainer=who),
    "return": lambda s, run, who: return_run(
        s, public_id=run, version=1, maintainer=who, reason="No."
    ),
    "withdraw": lambda s, run, who: take_down_run(
        s, public_id=run, version=1, maintainer=who, reason="No."
    ),
    "look": lambda s, run, who: look_over_run(s, public_id=run, version=1, maintainer=who),
    "take": lambda s, run, who: take_run(s, public_id=run, maintainer=who),
    "retry": lambda s, run, who: retry_run(s, public_id=run, version=1, maintainer=who),
}


@pytest.mark.parametrize("act", ACTS)
@pytest.mark.parametrize("why", ["own", "tied", "representative", "no maintainer"])
@pytest.mark.parametrize("role", ["maintain", "administer"])
def test_nobody_decides_on_their_own(
    session: Session, tmp_path: Path, act: str, why: str, role: str
) -> None:
    run_id = send(session, tmp_path, by="Ada Quill")
    name = "Ada Quill" if why == "own" else "Bo Finch"
    scopes = ("send",) if why == "no maintainer" else ("maintain", role)
    judge = person(session, name, scopes=scopes)
    if why in {"tied", "representative"}:
        tie(session, judge, "Millbeck", kind="tie" if why == "tied" else why)
    with pytest.raises(NotAllowed):
        ACTS[act](session, run_id, judge)
    assert run_of(session, run_id).state == RunState.WAITING


def test_the_case_says_all_that_is_needed(session: Session, tmp_path: Path) -> None:
    run_id = send(session, tmp_path, by="Ada Quill", is_held=True)
    bo = person(session, "Bo Finch")
    case = view_case(session, public_id=run_id, maintainer=bo, rule=STRICT)
    assert case.is_first
    assert case.is_held
    assert case.barred is None
    assert (case.record.name, case.record.n_waiting) == ("Ada Quill", 1)
    assert not case.record.is_in_standing
    own = person(session, "Ada Quill")
    case = view_case(session, public_id=run_id, maintainer=own, rule=STRICT)
    assert case.barred == "This is your own. Another maintainer decides on it."
    with pytest.raises(NotFound):
        view_case(session, public_id="0000000000", maintainer=bo, rule=STRICT)


def test_a_page_of_the_desk_takes_few_statements(
    session: Session, engine: Engine, tmp_path: Path, count_queries: Callable[[Engine], object]
) -> None:
    bo = person(session, "Bo Finch")
    counted = []
    for number in range(4):
        send(session, tmp_path, by="Ada Quill", model=f"M {number}", offset=number / 100)
        with count_queries(engine) as queries:  # type: ignore[attr-defined]
            page = desk_queue(session, viewer=bo, filters=DeskFilter())
        assert len(page.items) == number + 1
        counted.append(len(queries))
    assert counted[0] == counted[-1] <= 5
