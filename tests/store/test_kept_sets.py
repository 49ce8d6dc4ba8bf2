"""What a comparison keeps of the figures it read: never another run's, never an older one's."""

from dataclasses import replace
from datetime import UTC, datetime

from sqlalchemy import Engine

from server.model.views import RunView
from server.model.words import MetricName
from server.settings import Settings
from server.store.compare import compare_views
from server.store.database import make_engine, read_session
from server.store.kept_sets import KeptSets, kept_sets
from tests.actions.examples import example_bench, example_reduction
from tests.store.test_views import Ledger, ledger, other

__all__ = ["ledger", "other"]


def compared(engine: Engine, ids: list[str]) -> list[RunView]:
    with read_session(engine) as session:
        views = compare_views(session, public_ids=ids, viewer=None)
    return [view.best for view in views if view.best is not None]


def test_figures_asked_for_again_are_the_very_same(ledger: Ledger, engine: Engine) -> None:
    ids = [ledger.appliance_id(ledger.send(example_bench(model=m))) for m in ("WD 1", "WD 2")]
    first, again = compared(engine, ids), compared(engine, list(reversed(ids)))
    assert [run.reduction for run in first] == [run.reduction for run in reversed(again)]
    assert first[0].reduction is again[1].reduction
    assert first[0].reduction is not None
    power = first[0].reduction.metrics[MetricName.SHAFT_POWER_MAX_STEADY]
    whole = example_reduction().metrics[MetricName.SHAFT_POWER_MAX_STEADY]
    assert (power.interval_low, power.interval_high) == (whole.interval_low, whole.interval_high)
    assert power.budget == ()


def test_a_newer_run_takes_the_place_of_one_that_was_kept(ledger: Ledger, engine: Engine) -> None:
    ids = [ledger.appliance_id(ledger.send(example_bench(model=m))) for m in ("WD 1", "WD 2")]
    before = compared(engine, ids)[0]
    newer = ledger.send(example_bench(model="WD 1"), reduction=example_reduction(shaft_w=500.0))
    after = compared(engine, ids)[0]
    assert after.public_id == newer.public_id
    assert after.reduction is not before.reduction
    assert after.reduction is not None
    assert after.reduction.metrics[MetricName.SHAFT_POWER_MAX_STEADY].value == 500.0


def test_two_databases_keep_apart(settings: Settings, engine: Engine) -> None:
    elsewhere = make_engine(settings)
    with read_session(engine) as one, read_session(elsewhere) as another:
        assert kept_sets(one) is kept_sets(one)
        assert kept_sets(one) is not kept_sets(another)
    elsewhere.dispose()


def test_those_asked_for_longest_ago_go_first() -> None:
    at = datetime(2026, 11, 26, tzinfo=UTC)
    keys = [(n, "digest", at) for n in range(4)]
    kept = KeptSets(most=3)
    reduction = example_reduction()
    for key in keys[:3]:
        kept.keep({key: reduction})
    assert list(kept.those_of(keys[:1])) == keys[:1]
    kept.keep({keys[3]: replace(reduction, method_version="later")})
    assert set(kept.those_of(keys)) == {keys[0], keys[2], keys[3]}
    # A set of the same number made anew after another was taken back is not the one that was kept.
    assert kept.those_of([(0, "digest", at.replace(year=2027)), (0, "other", at)]) == {}
