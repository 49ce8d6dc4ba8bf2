"""Which runs count when testers are pooled, and in how many statements."""

from collections.abc import Callable
from contextlib import AbstractContextManager
from dataclasses import replace

import pytest
from sqlalchemy import Engine, select

from server.actions.complete_bench import complete_bench
from server.actions.enrol_tester import enrol_tester
from server.actions.submit_run import submit_run
from server.actions.withdraw_run import withdraw_run
from server.model.budget import SCATTER, BudgetLine
from server.model.measured import Finding
from server.model.pooled import PublishedRun
from server.model.results import Reduction
from server.model.views import Tester
from server.model.words import FindingCode, MetricName, RunKind, Severity
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.listing import rewrite_listing
from server.store.pooled import published_runs
from server.store.runs import run_view
from tests.actions.examples import (
    ERROR,
    LOG,
    example_bench,
    example_prepared,
    example_reduction,
    example_upload,
)

Counting = Callable[[Engine], AbstractContextManager[list[str]]]
STEADY = MetricName.SHAFT_POWER_MAX_STEADY
Send = Callable[..., str]


@pytest.fixture
def send(settings: Settings, engine: Engine, tester: Tester) -> Send:
    """Send a run with given figures; gives its id."""

    def make(
        reduction: Reduction | None = None, *, model: str = "WD 30", by: Tester | None = None
    ) -> str:
        who = by or tester
        upload = example_upload(settings.files, text=LOG)
        with read_session(engine) as session:
            bench = complete_bench(session, bench=example_bench(model=model), tester=who)
        prepared = example_prepared(settings.files, upload, bench, reduction=reduction)
        with write_session(engine) as session:
            return submit_run(
                session, prepared=prepared, upload=upload, bench=bench, tester=who
            ).public_id

    return make


@pytest.fixture
def other(engine: Engine) -> Tester:
    with write_session(engine) as session:
        return enrol_tester(session, name="Bo Finch")


def appliance_of(engine: Engine, run_id: str, viewer: Tester) -> str:
    with read_session(engine) as session:
        return run_view(session, public_id=run_id, viewer=viewer).appliance.public_id


def found(engine: Engine, public_id: str, *, is_whole: bool = False) -> tuple[PublishedRun, ...]:
    with read_session(engine) as session:
        return published_runs(session, public_ids=[public_id], is_whole=is_whole)[public_id]


def test_published_brake_runs_count_and_no_others(
    send: Send, engine: Engine, tester: Tester, other: Tester
) -> None:
    first = send(example_reduction(shaft_w=640.0))
    second = send(example_reduction(shaft_w=650.0), by=other)
    withdrawn, elsewhere, of_other_kind = send(), send(model="WD 31"), send()
    waiting = send(example_reduction(findings=(ERROR,)))
    with write_session(engine) as session:
        withdraw_run(session, public_id=withdrawn, tester=tester, note="Wrong rig.")
        (row,) = session.execute(
            select(t.RunRow).where(t.RunRow.public_id == of_other_kind)
        ).scalars()
        row.kind = RunKind.RUN_UP
    runs = found(engine, appliance_of(engine, first, tester))
    assert [run.public_id for run in runs] == [first, second]
    assert not {withdrawn, elsewhere, waiting} & {run.public_id for run in runs}
    assert [(run.tester, run.metrics[STEADY].value) for run in runs] == [
        (tester.name, 640.0),
        ("Bo Finch", 650.0),
    ]
    assert runs[0].specimen_id != runs[1].specimen_id
    assert (runs[0].specimen, runs[0].condition) == ("A1", "new")


def test_what_was_merged_into_an_appliance_counts_with_it(
    send: Send, engine: Engine, tester: Tester
) -> None:
    ids = [send(model=model) for model in ("WD 30", "WD30", "WD-30 x")]
    first, second, third = (appliance_of(engine, run, tester) for run in ids)
    with write_session(engine) as session:
        rows = {row.public_id: row for row in session.execute(select(t.ApplianceRow)).scalars()}
        rows[third].merged_into_id = rows[second].id
        rows[second].merged_into_id = rows[first].id
        for public_id in (second, third):
            rewrite_listing(session, appliance_id=rows[public_id].id)
    assert [run.public_id for run in found(engine, first)] == ids
    with read_session(engine) as session:
        both = published_runs(session, public_ids=[first, third])
    assert [run.public_id for run in both[first]] == ids
    assert [run.public_id for run in both[third]] == ids[2:]


def test_budgets_and_the_supply_come_only_where_asked(
    send: Send, engine: Engine, tester: Tester
) -> None:
    plain = example_reduction(
        findings=(Finding(FindingCode.SUPPLY_OFF_PLATE, Severity.WARNING, {"rel": -0.06}),)
    )
    line = BudgetLine(SCATTER, 2.0, "normal", 1.0, 0.25)
    steady = replace(plain.metrics[STEADY], method="gum", budget=(line,), interval_low=1.0,
                     interval_high=2.0)  # fmt: skip
    run = send(replace(plain, metrics={**plain.metrics, STEADY: steady}))
    public_id = appliance_of(engine, run, tester)
    (bare,) = found(engine, public_id)
    (whole,) = found(engine, public_id, is_whole=True)
    assert (bare.metrics[STEADY].budget, bare.is_supply_off) == ((), False)
    assert (whole.metrics[STEADY].budget, whole.is_supply_off) == ((line,), True)


@pytest.mark.parametrize("n", [2, 4])
def test_several_appliances_take_three_statements(
    send: Send, engine: Engine, tester: Tester, count_queries: Counting, n: int
) -> None:
    ids = [appliance_of(engine, send(model=f"WD {k}"), tester) for k in range(n)]
    with read_session(engine) as session, count_queries(engine) as queries:
        runs = published_runs(session, public_ids=[*ids, "zzzzzzzzzz"])
    assert [len(runs[one]) for one in ids] == [1] * n
    assert runs["zzzzzzzzzz"] == ()
    assert len(queries) == 3
