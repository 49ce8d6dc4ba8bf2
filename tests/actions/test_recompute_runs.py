"""Recomputing: sets are added, never changed; what changed is told."""

from collections.abc import Callable
from dataclasses import replace

import pytest
from sqlalchemy import Engine, select

from server.actions import reduce_again as module
from server.actions.compare_figures import compare_figures
from server.actions.recompute_runs import recompute_runs
from server.actions.submit_run import submit_run
from server.errors import NotFound
from server.model.measured import Metric
from server.model.methods import METHOD_VERSIONS
from server.model.results import Reduction
from server.model.views import CatalogueFilter, RunView, Tester
from server.model.words import FindingCode, MetricName, RunKind, RunState
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

Send = Callable[..., str]
POWER = MetricName.SHAFT_POWER_MAX_STEADY


@pytest.fixture
def send(settings: Settings, engine: Engine, tester: Tester) -> Send:
    def sending(reduction: Reduction | None = None, *, model: str = "WD 30") -> str:
        bench = example_bench(model=model)
        upload = example_upload(settings.files)
        prepared = example_prepared(settings.files, upload, bench, reduction=reduction)
        with write_session(engine) as session:
            return submit_run(
                session, prepared=prepared, upload=upload, bench=bench, tester=tester
            ).public_id

    return sending


@pytest.fixture
def gives(monkeypatch: pytest.MonkeyPatch) -> Callable[[Reduction], None]:
    """What the reduction gives from now on."""

    def give(reduction: Reduction) -> None:
        monkeypatch.setattr(module, "reduce_described", lambda *_, **__: reduction)

    return give


def look(engine: Engine, public_id: str, tester: Tester) -> RunView:
    with read_session(engine) as session:
        return run_view(session, public_id=public_id, viewer=tester)


def n_sets(engine: Engine) -> int:
    with read_session(engine) as session:
        return len(session.execute(select(t.MetricSetRow.id)).all())


def test_the_same_figures_add_nothing(
    settings: Settings, engine: Engine, send: Send, gives: Callable[[Reduction], None]
) -> None:
    run = send()
    gives(example_reduction())
    (change,) = recompute_runs(engine, files=settings.files)
    assert change.public_id == run
    assert not change.is_new_set
    assert change.metrics == ()
    assert n_sets(engine) == 1


def test_other_figures_add_a_set_and_move_the_pointer(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    send: Send,
    gives: Callable[[Reduction], None],
) -> None:
    run = send(example_reduction(shaft_w=600.0))
    gives(example_reduction(shaft_w=630.0, method="brake-next"))
    (change,) = recompute_runs(engine, files=settings.files)
    assert change.is_new_set
    assert (change.method_before, change.method_after) == (
        METHOD_VERSIONS[RunKind.BRAKE],
        "brake-next",
    )
    (metric,) = change.metrics
    assert metric.name is POWER
    assert metric.before.value == 600.0
    assert metric.n_u == pytest.approx(30.0 / 12.0)
    view = look(engine, run, tester)
    assert view.reduction is not None
    assert view.reduction.metrics[POWER].value == 630.0
    assert view.journal[0].act == "figures recomputed"
    assert n_sets(engine) == 2
    with read_session(engine) as session:
        (row,) = list_catalogue(session, filters=CatalogueFilter()).items
        old = session.execute(select(t.MetricSetRow).order_by(t.MetricSetRow.id)).scalars().first()
    assert row.metrics[POWER].value == 630.0
    assert old is not None
    assert old.was_published


def test_a_new_error_finding_takes_the_run_off_the_pages(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    send: Send,
    gives: Callable[[Reduction], None],
) -> None:
    run = send()
    gives(example_reduction(findings=(ERROR,)))
    (change,) = recompute_runs(engine, files=settings.files)
    assert change.findings_new == (FindingCode.EFFICIENCY_IMPOSSIBLE,)
    assert (change.state_before, change.state_after) == (RunState.PUBLISHED, RunState.WAITING)
    assert look(engine, run, tester).state is RunState.WAITING
    with read_session(engine) as session:
        (row,) = list_catalogue(session, filters=CatalogueFilter()).items
    assert row.run_id is None
    # It was held back at once: nobody but its tester ever saw these figures.
    with read_session(engine) as session:
        sets = session.execute(select(t.MetricSetRow.was_published).order_by(t.MetricSetRow.id))
        assert sets.scalars().all() == [True, False]


def test_an_error_finding_that_goes_publishes_the_run(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    send: Send,
    gives: Callable[[Reduction], None],
) -> None:
    run = send(example_reduction(findings=(ERROR, WARNING)))
    gives(example_reduction(findings=(WARNING,)))
    (change,) = recompute_runs(engine, files=settings.files)
    assert change.findings_gone == (FindingCode.EFFICIENCY_IMPOSSIBLE,)
    assert look(engine, run, tester).state is RunState.PUBLISHED
    with read_session(engine) as session:
        sets = session.execute(select(t.MetricSetRow.was_published).order_by(t.MetricSetRow.id))
        assert sets.scalars().all() == [False, True]


def test_that_a_file_was_sent_before_is_taken_over(
    settings: Settings,
    engine: Engine,
    tester: Tester,
    send: Send,
    gives: Callable[[Reduction], None],
) -> None:
    send()
    second = send()
    gives(example_reduction(shaft_w=1.0))
    list(recompute_runs(engine, files=settings.files, public_ids=[second]))
    view = look(engine, second, tester)
    assert view.reduction is not None
    assert [finding.code for finding in view.reduction.findings] == [FindingCode.SAME_FILE]


def test_only_stale_ones_where_asked(
    settings: Settings, engine: Engine, send: Send, gives: Callable[[Reduction], None]
) -> None:
    send()
    old = send(example_reduction(method="brake-0"), model="WD 31")
    gives(example_reduction())
    changes = list(recompute_runs(engine, files=settings.files, only_stale=True))
    assert [change.public_id for change in changes] == [old]
    assert not list(recompute_runs(engine, files=settings.files, only_stale=True))


def test_an_unknown_run_is_named(settings: Settings, engine: Engine, send: Send) -> None:
    known = send()
    with pytest.raises(NotFound, match="zzzzzzzzzz"):
        list(recompute_runs(engine, files=settings.files, public_ids=[known, "zzzzzzzzzz"]))


def test_a_change_is_counted_in_the_old_uncertainty() -> None:
    before = example_reduction(shaft_w=100.0)
    after = replace(before, metrics={**before.metrics, POWER: Metric(POWER, 105.0, 10.0)})
    (change,) = compare_figures(before.metrics, after.metrics)
    assert change.n_u == pytest.approx(2.5)


def test_a_figure_that_only_one_method_makes_is_missing_in_the_other() -> None:
    before = example_reduction()
    metrics = dict(before.metrics)
    del metrics[POWER]
    (change,) = compare_figures(before.metrics, metrics)
    assert change.after.value is None
    assert change.after.reason == "this method does not make it"


def test_rounding_in_the_last_digits_is_no_change() -> None:
    before = example_reduction(shaft_w=100.0)
    after = example_reduction(shaft_w=100.0 * (1 + 1e-12))
    assert compare_figures(before.metrics, after.metrics) == ()


def test_a_figure_that_goes_or_comes_is_a_change_without_a_count() -> None:
    before = example_reduction()
    missing = Metric.missing(POWER, "no dwell")
    after = replace(before, metrics={**before.metrics, POWER: missing})
    (change,) = compare_figures(before.metrics, after.metrics)
    assert (change.n_u, change.after) == (None, missing)
