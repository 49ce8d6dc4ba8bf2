"""What readers see of appliances, runs, rigs and specimens, and in how many statements."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace

import pytest
from sqlalchemy import Engine, select

from server.actions.add_claim import add_claim
from server.actions.add_rig import add_rig
from server.actions.add_specimen import add_specimen
from server.actions.complete_bench import complete_bench
from server.actions.discard_draft import discard_draft
from server.actions.enrol_tester import enrol_tester
from server.actions.revise_plate import revise_plate
from server.actions.revise_rig import revise_rig
from server.actions.save_draft import save_draft
from server.actions.submit_draft import submit_draft, upload_of_draft
from server.actions.submit_run import SubmittedRun, submit_run
from server.actions.withdraw_run import withdraw_run
from server.errors import AlreadySent, Conflict, InvalidInput, Moved, NotAllowed, NotFound
from server.model.bench import Bench, Claim, Plate, Rig, Specimen
from server.model.results import Reduction
from server.model.views import Tester
from server.model.words import FindingCode, RunState
from server.settings import Settings
from server.store import tables as t
from server.store.appliances import appliance_view, plate_revisions
from server.store.claims import claim_view, list_claims
from server.store.compare import compare_views
from server.store.database import read_session, write_session
from server.store.drafts import draft_view, list_drafts
from server.store.listing import rewrite_listing
from server.store.rigs import last_columns, list_rigs, rig_revisions, rig_view
from server.store.runs import list_runs, run_view
from server.store.specimens import list_specimens, specimen_view
from server.store.stamps import appliance_stamp, catalogue_stamp, run_stamp
from tests.actions.examples import (
    ERROR,
    LOG,
    example_bench,
    example_prepared,
    example_reduction,
    example_upload,
)

Counting = Callable[[Engine], AbstractContextManager[list[str]]]


class Ledger:
    """A database to send runs to."""

    def __init__(self, settings: Settings, engine: Engine, tester: Tester) -> None:
        self.settings, self.engine, self.tester = settings, engine, tester

    def send(
        self,
        bench: Bench | None = None,
        *,
        reduction: Reduction | None = None,
        tester: Tester | None = None,
        text: str = LOG,
        **ids: str | None,
    ) -> SubmittedRun:
        who = tester or self.tester
        bench = bench or example_bench()
        upload = example_upload(self.settings.files, text=text)
        with read_session(self.engine) as session:
            whole = complete_bench(session, bench=bench, tester=who, **ids)
        prepared = example_prepared(self.settings.files, upload, whole, reduction=reduction)
        with write_session(self.engine) as session:
            return submit_run(
                session, prepared=prepared, upload=upload, bench=bench, tester=who, **ids
            )

    def appliance_id(self, run: SubmittedRun) -> str:
        with read_session(self.engine) as session:
            return run_view(
                session, public_id=run.public_id, viewer=self.tester
            ).appliance.public_id


@pytest.fixture
def ledger(settings: Settings, engine: Engine, tester: Tester) -> Ledger:
    return Ledger(settings, engine, tester)


@pytest.fixture
def other(engine: Engine) -> Tester:
    with write_session(engine) as session:
        return enrol_tester(session, name="Bo Finch")


def test_an_appliance_shows_its_best_run_and_all_published(
    ledger: Ledger, engine: Engine, other: Tester
) -> None:
    first = ledger.send()
    second = ledger.send(tester=other, reduction=example_reduction(shaft_w=500.0))
    held = ledger.send(reduction=example_reduction(findings=(ERROR,)))
    public_id = ledger.appliance_id(first)
    with read_session(engine) as session:
        view = appliance_view(session, public_id=public_id, viewer=None)
        own = appliance_view(session, public_id=public_id, viewer=ledger.tester)
    assert view.best is not None
    assert view.best.public_id == second.public_id
    assert [run.public_id for run in view.runs] == [second.public_id, first.public_id]
    assert own.runs[0].public_id == held.public_id
    assert (view.n_specimens, view.n_testers) == (2, 2)
    assert view.plate == example_bench().plate
    assert view.claims == example_bench().claims


def test_a_merged_appliance_has_moved(ledger: Ledger, engine: Engine) -> None:
    old = ledger.appliance_id(ledger.send(example_bench(model="WD30")))
    new = ledger.appliance_id(ledger.send(example_bench(model="WD 30")))
    with write_session(engine) as session:
        rows = {row.public_id: row for row in session.execute(select(t.ApplianceRow)).scalars()}
        rows[old].merged_into_id = rows[new].id
        rewrite_listing(session, appliance_id=rows[old].id)
    with read_session(engine) as session:
        with pytest.raises(Moved) as moved:
            appliance_view(session, public_id=old, viewer=None)
        views = compare_views(session, public_ids=[old, new], viewer=None)
    assert moved.value.location == f"/appliances/{new}-millbeck-wd-30"
    assert [view.appliance.public_id for view in views] == [new]
    assert ledger.appliance_id(ledger.send(example_bench(model="WD30"))) == new


@pytest.mark.parametrize("n", [2, 6])
def test_a_comparison_takes_as_many_statements_for_six_as_for_two(
    ledger: Ledger, engine: Engine, count_queries: Counting, n: int
) -> None:
    ids = [ledger.appliance_id(ledger.send(example_bench(model=f"WD {k}"))) for k in range(n)]
    with read_session(engine) as session, count_queries(engine) as queries:
        views = compare_views(session, public_ids=list(reversed(ids)), viewer=None)
    assert [view.appliance.public_id for view in views] == list(reversed(ids))
    assert all(view.best is not None and view.best.reduction is not None for view in views)
    assert len(queries) == 11
    with read_session(engine) as session, count_queries(engine) as queries:
        assert compare_views(session, public_ids=list(reversed(ids)), viewer=None) == views
    assert len(queries) == 8  # the figures were kept


def test_lists_and_views_take_few_statements(
    ledger: Ledger, engine: Engine, count_queries: Counting
) -> None:
    runs = [ledger.send() for _ in range(3)]
    public_id = ledger.appliance_id(runs[0])
    with read_session(engine) as session:
        with count_queries(engine) as queries:
            list_runs(session)
        assert len(queries) == 2
        with count_queries(engine) as queries:
            run_view(session, public_id=runs[0].public_id, viewer=None)
        assert len(queries) == 7
        with count_queries(engine) as queries:
            appliance_view(session, public_id=public_id, viewer=None)
        assert len(queries) == 12


def test_runs_page_by_page(ledger: Ledger, engine: Engine) -> None:
    sent = [ledger.send().public_id for _ in range(5)]
    found: list[str] = []
    cursor = None
    with read_session(engine) as session:
        while True:
            page = list_runs(session, cursor=cursor, limit=2)
            found += [row.public_id for row in page.items]
            cursor = page.next
            if cursor is None:
                break
    assert found == list(reversed(sent))


def test_runs_are_filtered_by_what_they_belong_to(
    ledger: Ledger, engine: Engine, other: Tester
) -> None:
    mine = ledger.send()
    theirs = ledger.send(example_bench(model="WD 31"), tester=other)
    with read_session(engine) as session:
        by_appliance = list_runs(session, appliance_id=ledger.appliance_id(mine))
        by_tester = list_runs(session, tester_id=other.public_id)
        waiting = list_runs(session, state=RunState.WAITING)
    assert [row.public_id for row in by_appliance.items] == [mine.public_id]
    assert [row.public_id for row in by_tester.items] == [theirs.public_id]
    assert waiting.items == ()


def test_a_withdrawn_run_leaves_the_pages_but_not_its_sender(
    ledger: Ledger, engine: Engine, other: Tester
) -> None:
    first, second = ledger.send(), ledger.send(reduction=example_reduction(shaft_w=1.0))
    with pytest.raises(NotAllowed), write_session(engine) as session:
        withdraw_run(session, public_id=second.public_id, tester=other)
    with write_session(engine) as session:
        withdraw_run(session, public_id=second.public_id, tester=ledger.tester, note="Wrong rig.")
    with pytest.raises(Conflict), write_session(engine) as session:
        withdraw_run(session, public_id=second.public_id, tester=ledger.tester)
    with read_session(engine) as session:
        with pytest.raises(NotFound):
            run_view(session, public_id=second.public_id, viewer=other)
        own = run_view(session, public_id=second.public_id, viewer=ledger.tester)
        view = appliance_view(session, public_id=ledger.appliance_id(first), viewer=None)
    assert own.state is RunState.WITHDRAWN
    assert own.journal[0].note == "Wrong rig."
    assert view.best is not None
    assert view.best.public_id == first.public_id


def test_the_same_file_is_told_only_of_own_or_published_runs(
    ledger: Ledger, engine: Engine, other: Tester
) -> None:
    held = example_reduction(findings=(ERROR,))
    secret = ledger.send(reduction=held)
    stranger = ledger.send(tester=other)
    again = ledger.send()
    with read_session(engine) as session:
        codes = {}
        for run, who in ((stranger, other), (again, ledger.tester)):
            view = run_view(session, public_id=run.public_id, viewer=who)
            assert view.reduction is not None
            codes[run.public_id] = [
                f.evidence["runs"]
                for f in view.reduction.findings
                if f.code is FindingCode.SAME_FILE
            ]
    assert codes[stranger.public_id] == [], "the other's run is not published"
    assert codes[again.public_id] == [sorted([secret.public_id, stranger.public_id])]


def test_ids_overrule_the_bench(ledger: Ledger, engine: Engine) -> None:
    first = ledger.send()
    with read_session(engine) as session:
        stored = run_view(session, public_id=first.public_id, viewer=None)
    empty = Bench(appliance=None)
    run = ledger.send(
        empty,
        text=LOG + "3,1000,0.3\n",
        specimen_id=stored.specimen.public_id,
        rig_id=stored.rig.public_id,
    )
    with read_session(engine) as session:
        view = run_view(session, public_id=run.public_id, viewer=None)
    assert view.appliance == stored.appliance
    assert view.specimen == stored.specimen
    assert view.rig == stored.rig
    assert view.plate == stored.plate


def test_ids_that_name_nothing_or_anothers_are_refused(
    ledger: Ledger, engine: Engine, other: Tester
) -> None:
    first = ledger.send()
    elsewhere = ledger.appliance_id(ledger.send(example_bench(model="WD 31")))
    with read_session(engine) as session:
        view = run_view(session, public_id=first.public_id, viewer=None)
    with pytest.raises(NotFound):
        ledger.send(appliance_id="zzzzzzzzzz")
    with pytest.raises(NotAllowed):
        ledger.send(tester=other, rig_id=view.rig.public_id)
    with pytest.raises(NotAllowed):
        ledger.send(tester=other, specimen_id=view.specimen.public_id)
    with pytest.raises(InvalidInput):
        ledger.send(specimen_id=view.specimen.public_id, appliance_id=elsewhere)


def test_figures_made_with_another_plate_are_refused(ledger: Ledger, engine: Engine) -> None:
    public_id = ledger.appliance_id(ledger.send())
    bench = replace(example_bench(), plate=Plate())
    upload = example_upload(ledger.settings.files)
    stale = example_prepared(ledger.settings.files, upload, bench)
    with pytest.raises(Conflict, match="again"), write_session(engine) as session:
        submit_run(
            session,
            prepared=stale,
            upload=upload,
            bench=bench,
            tester=ledger.tester,
            appliance_id=public_id,
        )


def test_plates_come_in_revisions_and_runs_keep_theirs(ledger: Ledger, engine: Engine) -> None:
    first = ledger.send()
    public_id = ledger.appliance_id(first)
    newer = replace(example_bench().plate, current_a=11.0)
    with write_session(engine) as session:
        revise_plate(session, appliance_id=public_id, plate=newer, tester=ledger.tester)
        again = revise_plate(session, appliance_id=public_id, plate=newer, tester=ledger.tester)
    assert again.revision == 2
    with read_session(engine) as session:
        revisions = plate_revisions(session, public_id=public_id)
        run = run_view(session, public_id=first.public_id, viewer=None)
        view = appliance_view(session, public_id=public_id, viewer=None)
    assert [one.content.current_a for one in revisions] == [11.0, 10.2]
    assert run.plate.current_a == 10.2
    assert (view.plate, view.plate_revision) == (newer, 2)


def test_rigs_come_in_revisions(ledger: Ledger, engine: Engine, other: Tester) -> None:
    with write_session(engine) as session:
        rig = add_rig(session, rig=Rig(name="Bench two", arm_m=0.1), tester=ledger.tester)
    with write_session(engine) as session:
        changed = Rig(name="Bench two", arm_m=0.2)
        revise_rig(session, rig_id=rig.public_id, rig=changed, tester=ledger.tester)
        revise_rig(session, rig_id=rig.public_id, rig=changed, tester=ledger.tester)
    with pytest.raises(NotAllowed), write_session(engine) as session:
        revise_rig(session, rig_id=rig.public_id, rig=Rig(), tester=other)
    run = ledger.send()
    with read_session(engine) as session:
        assert rig_view(session, public_id=rig.public_id).content.arm_m == 0.2
        assert [r.revision for r in rig_revisions(session, public_id=rig.public_id)] == [2, 1]
        names = [one.content.name for one in list_rigs(session, tester=ledger.tester)]
        view = run_view(session, public_id=run.public_id, viewer=None)
        columns = last_columns(session, public_id=view.rig.public_id)
    assert names == ["Bench one", "Bench two"]
    assert [column.header for column in columns] == ["speed [rad/s]", "time", "torque [N m]"]


def test_a_rig_of_the_same_name_takes_a_revision(ledger: Ledger, engine: Engine) -> None:
    ledger.send()
    bench = example_bench()
    calibrated = replace(bench, rig=replace(bench.rig, arm_m=0.11))
    run = ledger.send(calibrated)
    with read_session(engine) as session:
        (rig,) = list_rigs(session, tester=ledger.tester)
        view = run_view(session, public_id=run.public_id, viewer=None)
    assert rig.revision == 2
    assert view.rig == rig


def test_specimens_and_claims_have_addresses(ledger: Ledger, engine: Engine) -> None:
    public_id = ledger.appliance_id(ledger.send())
    with write_session(engine) as session:
        specimen = add_specimen(
            session, appliance_id=public_id, specimen=Specimen(label="B2"), tester=ledger.tester
        )
        claim = add_claim(
            session,
            appliance_id=public_id,
            claim=Claim("speed", 2094.0, "20 000 r/min", "20000 r/min"),
            tester=ledger.tester,
        )
    with read_session(engine) as session:
        labels = [s.content.label for s in list_specimens(session, appliance_id=public_id)]
        assert labels == ["B2", "A1"]
        assert specimen_view(session, public_id=specimen.public_id).content.label == "B2"
        assert claim_view(session, public_id=claim.public_id).content.quantity == "speed"
        page = list_claims(session, appliance_id=public_id, limit=1)
        rest = list_claims(session, appliance_id=public_id, limit=1, cursor=page.next)
        assert [one.content.quantity for one in page.items + rest.items] == ["speed", "power"]
        with pytest.raises(NotFound):
            claim_view(session, public_id="zzzzzzzzzz")
        with pytest.raises(NotFound):
            specimen_view(session, public_id="zzzzzzzzzz")


@pytest.mark.parametrize(("value", "wording"), [(0.0, "x"), (float("nan"), "x"), (1.0, " ")])
def test_a_claim_that_says_nothing_is_refused(
    ledger: Ledger, engine: Engine, value: float, wording: str
) -> None:
    public_id = ledger.appliance_id(ledger.send())
    with pytest.raises(InvalidInput), write_session(engine) as session:
        add_claim(
            session,
            appliance_id=public_id,
            claim=Claim("power", value, wording, ""),
            tester=ledger.tester,
        )


def test_stamps_change_when_the_answer_does(ledger: Ledger, engine: Engine) -> None:
    run = ledger.send()
    public_id = ledger.appliance_id(run)

    def stamps() -> tuple[str | None, ...]:
        with read_session(engine) as session:
            return (
                appliance_stamp(session, public_id=public_id),
                run_stamp(session, public_id=run.public_id, viewer=None),
                catalogue_stamp(session),
            )

    before = stamps()
    assert stamps() == before
    with write_session(engine) as session:
        claim = Claim("power", 1000.0, "1000 W", "1000 W")
        add_claim(session, appliance_id=public_id, claim=claim, tester=ledger.tester)
    after = stamps()
    assert all(old != new for old, new in zip(before, after, strict=True))
    with write_session(engine) as session:
        withdraw_run(session, public_id=run.public_id, tester=ledger.tester)
    assert stamps()[1] is None


def test_a_draft_becomes_a_run_once(ledger: Ledger, engine: Engine, other: Tester) -> None:
    files = ledger.settings.files
    upload = example_upload(files)
    with write_session(engine) as session:
        draft = save_draft(session, tester=ledger.tester, form={"maker": "M"}, upload=upload)
    with write_session(engine) as session:
        save_draft(session, tester=ledger.tester, form={"a": [1]}, draft_id=draft.public_id)
    with read_session(engine) as session:
        assert list_drafts(session, tester=other) == ()
        with pytest.raises(NotFound):
            draft_view(session, public_id=draft.public_id, tester=other)
        (kept,) = list_drafts(session, tester=ledger.tester)
    assert kept.form == {"a": [1]}
    assert upload_of_draft(kept, files=files) == upload
    bench = example_bench()
    prepared = example_prepared(files, upload, bench)

    def send() -> SubmittedRun:
        with write_session(engine) as session:
            return submit_draft(
                session,
                draft_id=draft.public_id,
                prepared=prepared,
                upload=upload,
                bench=bench,
                tester=ledger.tester,
            )

    sent = send()
    assert sent.state is RunState.PUBLISHED
    with pytest.raises(AlreadySent) as refusal:
        send()
    assert refusal.value.run_id == sent.public_id
    with read_session(engine) as session, pytest.raises(NotFound) as unknown:
        draft_view(session, public_id=draft.public_id, tester=other)
    assert sent.public_id not in str(unknown.value)


def test_a_discarded_draft_is_gone(ledger: Ledger, engine: Engine) -> None:
    upload = example_upload(ledger.settings.files)
    with write_session(engine) as session:
        draft = save_draft(session, tester=ledger.tester, form={}, upload=upload)
    with write_session(engine) as session:
        discard_draft(session, draft_id=draft.public_id, tester=ledger.tester)
    with read_session(engine) as session:
        assert list_drafts(session, tester=ledger.tester) == ()


def test_a_new_draft_needs_a_file(ledger: Ledger, engine: Engine) -> None:
    with pytest.raises(InvalidInput), write_session(engine) as session:
        save_draft(session, tester=ledger.tester, form={})
