"""Put together what a tester finds on their own bench."""

from collections.abc import Mapping, Sequence

from sqlalchemy.orm import Session

from server.actions.pool_appliance import pool_runs
from server.model.bench import Rig
from server.model.my_bench import Calibration, MyBench, Repeat, RunEffect, months_later
from server.model.pooled import HEADLINE, MetricPooling, PublishedRun
from server.model.views import RunRow, Stored, Tester
from server.model.words import RunKind, RunState
from server.store.drafts import list_drafts
from server.store.my_bench import (
    asked_about,
    calibration_interval,
    remarks_on_runs,
    surviving_ids,
    watched_tests,
)
from server.store.pooled import published_runs
from server.store.rigs import list_rigs
from server.store.runs import MAX_PAGE, list_runs

MAX_EFFECTS = 20
MAX_REPEATS = 50

Published = Mapping[str, tuple[PublishedRun, ...]]


def view_my_bench(
    session: Session, *, tester: Tester, calibration_months: int | None = None
) -> MyBench:
    """All of a tester's bench, in a constant number of statements.

    Parameters
    ----------
    tester : whose bench it is; nobody else may see it.
    calibration_months : from one calibration of an instrument to the next; without, as the tester
        set it, or the usual interval.

    Returns
    -------
    MyBench. Effects are those of the newest MAX_EFFECTS published brake runs, each on the first
    headline figure that it has a value for.
    """
    rigs = list_rigs(session, tester=tester)
    months = calibration_months or calibration_interval(session, tester_id=tester.id)
    page = list_runs(session, viewer=tester, tester_id=tester.public_id, limit=MAX_PAGE)
    counted = [r for r in page.items if r.state is RunState.PUBLISHED and r.kind == RunKind.BRAKE]
    ids = list(dict.fromkeys(run.appliance_id for run in page.items))
    surviving = surviving_ids(session, public_ids=ids) if ids else {}
    published = (
        published_runs(session, public_ids=sorted(set(surviving.values())), is_whole=True)
        if ids
        else {}
    )
    of_run = {run.public_id: surviving[run.appliance_id] for run in page.items}
    return MyBench(
        rigs=rigs,
        calibrations=calibrations(rigs, months=months),
        calibration_months=months,
        drafts=list_drafts(session, tester=tester),
        runs=page.items,
        has_more_runs=page.next is not None,
        remarks=remarks_on_runs(session, tester_id=tester.id),
        effects=tuple(
            effect_of(run, published[of_run[run.public_id]]) for run in counted[:MAX_EFFECTS]
        ),
        repeats=_repeats(page.items, surviving, published, tester=tester),
        asked=asked_about(session, tester_id=tester.id),
        watched=watched_tests(session, tester_id=tester.id),
    )


def calibrations(rigs: Sequence[Stored[Rig]], *, months: int) -> tuple[Calibration, ...]:
    """Every instrument of the rigs as they stand now, what is due first in front.

    Parameters
    ----------
    months : from one calibration to the next.

    Returns
    -------
    Those without a date come last: nothing says when they are due.
    """
    found = [
        Calibration(
            rig_id=rig.public_id,
            rig=rig.content.name or "A rig without a name",
            channel=instrument.channel,
            instrument=instrument.name,
            calibrated=instrument.calibrated,
            due=months_later(instrument.calibrated, months) if instrument.calibrated else None,
        )
        for rig in rigs
        for instrument in rig.content.instruments
    ]
    return tuple(sorted(found, key=lambda c: (c.due is None, c.due or c.calibrated, c.rig)))


def effect_of(run: RunRow, published: Sequence[PublishedRun]) -> RunEffect:
    """The pooled figure of a run's appliance with that run and without it.

    Parameters
    ----------
    published : every published brake run of the appliance, this one among them.

    Notes
    -----
    The figure is the first headline one that the run itself has a value to pool for; where it has
    none, the reason stands for the first of them.
    """
    first: MetricPooling | None = None
    for metric in HEADLINE:
        pooled = pool_runs(published, metric=metric)
        first = first or pooled
        if any(one.public_id == run.public_id for one in pooled.runs):
            others = [one for one in published if one.public_id != run.public_id]
            return _effect(run, pooled, pool_runs(others, metric=metric))
    assert first is not None
    reason = next((x.reason for x in first.left_out if x.run.public_id == run.public_id), None)
    return _effect(run, first, first, left_out=reason or "it is not among the pooled runs")


def _effect(
    run: RunRow, pooled: MetricPooling, without: MetricPooling, *, left_out: str | None = None
) -> RunEffect:
    return RunEffect(
        run_id=run.public_id,
        appliance_id=run.appliance_id,
        appliance_slug=run.appliance_slug,
        appliance_name=run.appliance_name,
        metric=pooled.metric,
        pooled=pooled.pooling.pooled if pooled.pooling else None,
        n_testers=pooled.pooling.n_testers if pooled.pooling else 0,
        without=without.pooling.pooled if without.pooling else None,
        n_testers_without=without.pooling.n_testers if without.pooling else 0,
        left_out=left_out,
    )


def _repeats(
    runs: Sequence[RunRow], surviving: Mapping[str, str], published: Published, *, tester: Tester
) -> tuple[Repeat, ...]:
    """Other testers' runs of the same appliances, the newest of each appliance first."""
    found: dict[str, Repeat] = {}
    for run in runs:
        for one in reversed(published.get(surviving[run.appliance_id], ())):
            if one.tester_id != tester.public_id:
                found.setdefault(
                    one.public_id,
                    Repeat(
                        run_id=one.public_id,
                        tester=one.tester,
                        tested_on=one.tested_on,
                        appliance_id=run.appliance_id,
                        appliance_slug=run.appliance_slug,
                        appliance_name=run.appliance_name,
                    ),
                )
    return tuple(found.values())[:MAX_REPEATS]
