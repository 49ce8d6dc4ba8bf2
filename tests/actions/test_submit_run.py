"""Storing a run: whole, once, and published by rule or held back."""

from collections.abc import Callable

import pytest
from sqlalchemy import Engine, func, select

from server.actions.submit_run import SubmittedRun, submit_run
from server.errors import Conflict, InvalidInput, NotFound
from server.model.bench import Bench
from server.model.results import Reduction
from server.model.views import CatalogueFilter, Tester
from server.model.words import JobState, MetricName, RunState
from server.settings import Settings
from server.store import tables as t
from server.store.catalogue import list_catalogue
from server.store.database import read_session, write_session
from server.store.runs import run_view
from tests.actions.examples import (
    ERROR,
    WARNING,
    example_bench,
    example_prepared,
    example_reduction,
    example_upload,
)

Send = Callable[..., SubmittedRun]


@pytest.fixture
def send(settings: Settings, engine: Engine, tester: Tester) -> Send:
    def sending(
        bench: Bench | None = None, *, reduction: Reduction | None = None, **named: str | None
    ) -> SubmittedRun:
        bench = bench or example_bench()
        upload = example_upload(settings.files)
        prepared = example_prepared(settings.files, upload, bench, reduction=reduction)
        with write_session(engine) as session:
            return submit_run(
                session, prepared=prepared, upload=upload, bench=bench, tester=tester, **named
            )

    return sending


def test_a_sound_run_is_published_and_reads_back_as_sent(
    send: Send, engine: Engine, tester: Tester
) -> None:
    bench = example_bench()
    done = send(bench)
    assert done.is_new
    assert done.state is RunState.PUBLISHED
    with read_session(engine) as session:
        view = run_view(session, public_id=done.public_id, viewer=None)
    assert view.plate == bench.plate
    assert view.rig.content == bench.rig
    assert view.specimen.content == bench.specimen
    assert view.details == bench.run
    assert view.claims == bench.claims
    assert view.appliance.content == bench.appliance
    assert view.tester == tester.name
    assert view.reduction == example_reduction()
    assert [entry.act for entry in view.journal] == ["run published", "run sent"]
    assert [entry.actor for entry in view.journal] == ["system", tester.name]


def test_an_error_finding_holds_the_run_back(send: Send, engine: Engine, tester: Tester) -> None:
    done = send(reduction=example_reduction(findings=(WARNING, ERROR)))
    assert done.state is RunState.WAITING
    with read_session(engine) as session:
        with pytest.raises(NotFound):
            run_view(session, public_id=done.public_id, viewer=None)
        own = run_view(session, public_id=done.public_id, viewer=tester)
        assert own.reduction is not None
        assert own.reduction.findings[:2] == (WARNING, ERROR)
        listed = list_catalogue(session, filters=CatalogueFilter()).items
    assert [(row.n_runs, row.ratio) for row in listed] == [(0, None)]


def test_the_catalogue_shows_the_newest_run(send: Send, engine: Engine) -> None:
    send(reduction=example_reduction(shaft_w=600.0))
    newest = send(reduction=example_reduction(shaft_w=660.0))
    with read_session(engine) as session:
        (row,) = list_catalogue(session, filters=CatalogueFilter()).items
    assert row.run_id == newest.public_id
    assert row.n_runs == 2
    assert row.n_specimens == 1
    assert row.metrics[MetricName.SHAFT_POWER_MAX_STEADY].value == 660.0
    assert row.metrics[MetricName.EFFICIENCY_MAX].lower_bound
    assert row.ratio == pytest.approx(660.0 / 3728.5)


def test_the_same_key_and_content_is_the_same_run(send: Send, engine: Engine) -> None:
    first = send(idempotency_key="k1")
    again = send(idempotency_key="k1")
    assert again.public_id == first.public_id
    assert not again.is_new
    with read_session(engine) as session:
        assert session.scalar(select(func.count()).select_from(t.RunRow)) == 1


def test_the_same_key_for_other_content_is_a_conflict(send: Send) -> None:
    send(idempotency_key="k1")
    with pytest.raises(Conflict):
        send(example_bench(model="WD 31"), idempotency_key="k1")


def test_a_run_without_figures_waits_for_the_worker(
    settings: Settings, engine: Engine, tester: Tester
) -> None:
    upload = example_upload(settings.files)
    with write_session(engine) as session:
        done = submit_run(
            session, prepared=None, upload=upload, bench=example_bench(), tester=tester
        )
    assert done.state is RunState.WORKING
    with read_session(engine) as session:
        view = run_view(session, public_id=done.public_id, viewer=tester)
        job = session.execute(select(t.JobRow)).scalar_one()
    assert view.reduction is None
    assert view.n_rows == 0
    assert job.state == JobState.QUEUED


def test_a_bench_without_an_appliance_names_all_that_is_missing(send: Send) -> None:
    with pytest.raises(InvalidInput) as refusal:
        send(Bench())
    assert [p.field for p in refusal.value.problems] == ["appliance.maker", "appliance.model"]
