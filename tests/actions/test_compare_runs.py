"""What recomputing would change is told before it is done, and nothing is stored for it.

How far a figure moves is counted in its own standard uncertainty: common practice, no source.
"""

from collections.abc import Callable
from dataclasses import replace

import pytest
from sqlalchemy import Engine, select

from server.actions import reduce_again
from server.actions.compare_runs import compare_runs
from server.actions.recompute_runs import recompute_runs
from server.actions.submit_run import submit_run
from server.errors import NotFound
from server.model.changes import RunChange
from server.model.measured import Metric
from server.model.methods import METHOD_VERSIONS
from server.model.results import Curve, Reduction
from server.model.views import Tester
from server.model.words import FindingCode, MetricName, RunKind, RunState
from server.settings import Settings
from server.store.database import read_session, write_session
from server.store.tables import Table
from server.wording.changes import comparison_to_json, summary_of, summary_sentences, what_moves
from tests.actions.examples import (
    ERROR,
    example_bench,
    example_prepared,
    example_reduction,
    example_upload,
)

POWER = MetricName.SHAFT_POWER_MAX_STEADY
SPEED = MetricName.FREE_SPEED
Send = Callable[..., str]
Gives = Callable[[dict[RunKind, Reduction]], None]


@pytest.fixture
def send(settings: Settings, engine: Engine, tester: Tester) -> Send:
    def sending(reduction: Reduction, *, model: str = "WD 30") -> str:
        bench = example_bench(model=model)
        bench = replace(bench, run=replace(bench.run, kind=reduction.kind))
        upload = example_upload(settings.files)
        prepared = example_prepared(settings.files, upload, bench, reduction=reduction)
        with write_session(engine) as session:
            return submit_run(
                session, prepared=prepared, upload=upload, bench=bench, tester=tester
            ).public_id

    return sending


@pytest.fixture
def gives(monkeypatch: pytest.MonkeyPatch) -> Gives:
    """What today's method gives, by the kind of run."""

    def give(reductions: dict[RunKind, Reduction]) -> None:
        monkeypatch.setattr(
            reduce_again, "reduce_described", lambda _, *, bench: reductions[bench.run.kind]
        )

    return give


def rows_of(engine: Engine) -> dict[str, list[tuple[object, ...]]]:
    """Every row of every table, in a settled order."""
    with read_session(engine) as session:
        return {
            table.name: sorted(map(tuple, session.execute(select(table))), key=repr)
            for table in Table.metadata.sorted_tables
        }


def compared(engine: Engine, settings: Settings, **chosen: object) -> list[RunChange]:
    return list(compare_runs(engine, files=settings.files, **chosen))  # type: ignore[arg-type]


def test_it_stores_nothing_and_foretells_what_recomputing_does(
    settings: Settings, engine: Engine, send: Send, gives: Gives
) -> None:
    for n, watts in enumerate((600.0, 615.0, 640.0)):
        send(example_reduction(shaft_w=watts, method="brake-0"), model=f"WD 3{n}")
    gives({RunKind.BRAKE: example_reduction(shaft_w=630.0, findings=(ERROR,))})
    before = rows_of(engine)
    foretold = compared(engine, settings)
    assert rows_of(engine) == before
    assert len(before["metric_set"]) == 3
    assert before["audit_event"]
    done = list(recompute_runs(engine, files=settings.files))
    assert foretold == done
    assert len(rows_of(engine)["metric_set"]) == 6


def test_a_move_is_counted_in_the_standard_uncertainty_of_an_older_method(
    settings: Settings, engine: Engine, send: Send, gives: Gives
) -> None:
    run = send(example_reduction(shaft_w=600.0, method="brake-0"))
    gives({RunKind.BRAKE: example_reduction(shaft_w=624.0)})
    (change,) = compared(engine, settings)
    assert (change.public_id, change.method_before) == (run, "brake-0")
    assert change.method_after == METHOD_VERSIONS[RunKind.BRAKE]
    (figure,) = change.metrics
    # 600 W has u = 2 % = 12 W.
    assert figure.n_u == pytest.approx(2.0)


def test_the_largest_move_comes_first_and_the_counts_add_up(
    settings: Settings, engine: Engine, send: Send, gives: Gives
) -> None:
    today = example_reduction(shaft_w=600.0)

    def older(**values: Metric) -> Reduction:
        metrics = today.metrics | {MetricName(name): one for name, one in values.items()}
        return replace(today, method_version="brake-0", metrics=metrics)

    small = send(older(shaft_power_max_steady=Metric(POWER, 594.0, 12.0)), model="A")
    large = send(
        older(
            shaft_power_max_steady=Metric(POWER, 588.0, 12.0),
            free_speed=Metric(SPEED, 2010.0, 2.0),
        ),
        model="B",
    )
    same = send(older(), model="C")
    gone = send(older(free_speed=Metric.missing(SPEED, "never idle")), model="D")
    gives({RunKind.BRAKE: today})
    changes = compared(engine, settings)
    moved = what_moves(changes)
    assert [one.public_id for one in moved] == [gone, large, small]
    assert [one.n_u for one in moved[1].metrics] == [pytest.approx(-5.0), pytest.approx(1.0)]
    assert moved[0].metrics[0].n_u is None
    assert same not in {one.public_id for one in moved}
    summary = summary_of(changes)
    assert (summary.n_compared, summary.n_runs, summary.n_figures) == (4, 3, 4)
    assert (summary.n_over_one, summary.n_uncounted, summary.moving) == (1, 1, ())
    text = " ".join(summary_sentences(summary)).replace("\u00a0", " ")
    assert "4 figures of 3 published runs would move, 1 by more than one standard" in text
    shape = comparison_to_json(changes)
    counted = [one for run in shape["runs"] for one in run["figures"]]
    assert shape["summary"]["figures_moved"] == len(counted)


def test_runs_that_would_change_state_are_named_and_hidden_figures_are_not_told(
    settings: Settings, engine: Engine, send: Send, gives: Gives
) -> None:
    waiting = send(example_reduction(shaft_w=500.0, method="brake-0", findings=(ERROR,)))
    send(example_reduction(shaft_w=600.0), model="WD 31")
    gives({RunKind.BRAKE: example_reduction(shaft_w=600.0)})
    changes = compared(engine, settings)
    assert [one.public_id for one in summary_of(changes).moving] == [waiting]
    (told,) = what_moves(changes)
    assert told.findings_gone == (FindingCode.EFFICIENCY_IMPOSSIBLE,)
    assert (told.state_before, told.state_after) == (RunState.WAITING, RunState.PUBLISHED)
    # Its figure was not published, so it is no published figure that moves.
    assert summary_of(changes).n_figures == 0


def in_use(speed_rad_s: float = 1900.0) -> Reduction:
    name = MetricName.OPERATING_SPEED
    return Reduction(
        kind=RunKind.IN_USE,
        method_version=METHOD_VERSIONS[RunKind.IN_USE],
        metrics={name: Metric(name, speed_rad_s, 1.0)},
    )


def brake(shaft_w: float, method: str = METHOD_VERSIONS[RunKind.BRAKE]) -> Reduction:
    """A brake run whose curve of shaft power is flat."""
    flat = {"speed": ("rad/s", (2000.0, 1800.0)), "shaft_power": ("W", (shaft_w, shaft_w))}
    curves = tuple(
        Curve(quantity, unit, (0.1, 0.2), values, (10.0, 10.0), (False, False), "made up")
        for quantity, (unit, values) in flat.items()
    )
    return replace(example_reduction(method=method), curves=curves)


def test_what_rests_on_a_brake_run_moves_with_it(
    settings: Settings, engine: Engine, send: Send, gives: Gives
) -> None:
    braked = send(brake(600.0, "brake-0"))
    used = send(in_use())
    gives({RunKind.BRAKE: brake(640.0), RunKind.IN_USE: in_use()})
    for chosen in ({}, {"only_stale": True}, {"public_ids": [braked]}):
        found = {one.public_id: one for one in compared(engine, settings, **chosen)}
        assert found[braked].metrics == ()
        (figure,) = found[used].metrics
        assert figure.name is MetricName.SHAFT_POWER_IN_USE
        assert (figure.before.value, figure.after.value) == (600.0, 640.0)
        u = figure.before.standard_uncertainty
        assert u is not None
        assert figure.n_u == pytest.approx(40.0 / u)
    # Chosen by itself it stays on the curve of the figures that are shown.
    (alone,) = compared(engine, settings, public_ids=[used])
    assert alone.metrics == ()


def test_only_stale_ones_where_asked(
    settings: Settings, engine: Engine, send: Send, gives: Gives
) -> None:
    send(example_reduction())
    old = send(example_reduction(method="brake-0"), model="WD 31")
    gives({RunKind.BRAKE: example_reduction()})
    assert [one.public_id for one in compared(engine, settings, only_stale=True)] == [old]


def test_an_unknown_run_is_named(settings: Settings, engine: Engine, send: Send) -> None:
    send(example_reduction())
    with pytest.raises(NotFound, match="zzzzzzzzzz"):
        compared(engine, settings, public_ids=["zzzzzzzzzz"])
