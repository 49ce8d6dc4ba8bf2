"""Pool an appliance's published brake runs, figure by figure."""

from collections.abc import Sequence
from math import sqrt

from sqlalchemy.orm import Session

from server.model.budget import SCATTER
from server.model.measured import Metric
from server.model.pooled import HEADLINE, BenchResult, LeftOut, MetricPooling, PublishedRun
from server.model.words import MetricName
from server.reduction.pooling import pool
from server.store.pooled import published_runs

LOWER_BOUND = "only “at least” is known: the highest that was shown is no value to pool"
PEAK_NOT_REACHED = "the run ended before its peak, so its highest moment says only “at least”"
NO_UNCERTAINTY = "its standard uncertainty is not known"
NO_FIGURE = "the run has no such figure"
MOST_SHARED = 0.99  # of a tester's whole uncertainty: some of it is always the tester's own


def pool_appliance(session: Session, *, public_id: str) -> tuple[MetricPooling, ...]:
    """Each headline figure of an appliance over all testers, with who agrees and who does not.

    Parameters
    ----------
    public_id : of an appliance that is known; what was merged into it counts with it.

    Returns
    -------
    One MetricPooling per headline metric, in the order of `HEADLINE`; none where the appliance has
    no published brake run.
    """
    found = published_runs(session, public_ids=[public_id], is_whole=True)
    runs = found[public_id]
    return tuple(pool_runs(runs, metric=name) for name in HEADLINE) if runs else ()


def pool_appliances(
    session: Session, *, public_ids: Sequence[str], metric: MetricName
) -> dict[str, MetricPooling]:
    """One figure of several appliances, by their ids, in a constant number of statements.

    Without budgets: scatter within runs and shared instruments are not told apart here.
    """
    found = published_runs(session, public_ids=public_ids)
    return {public_id: pool_runs(runs, metric=metric) for public_id, runs in found.items()}


def pool_runs(runs: Sequence[PublishedRun], *, metric: MetricName) -> MetricPooling:
    """Pool one figure over runs.

    Parameters
    ----------
    runs : of one appliance. Those by one tester pool to one figure first.
    metric : the figure.

    Returns
    -------
    MetricPooling. Left out, each with its reason: runs without a value, those that show only “at
    least”, and those without an uncertainty where others have one.

    Notes
    -----
    Shared is what the budgets of all testers give to an instrument of one name on one channel; an
    instrument that only some share is not taken out.
    """
    usable: list[tuple[PublishedRun, Metric]] = []
    left_out: list[LeftOut] = []
    for run in runs:
        figure = run.metrics.get(metric)
        reason = _why_not(run, figure)
        if figure is None or reason is not None:
            left_out.append(LeftOut(run, reason or NO_FIGURE))
        else:
            usable.append((run, figure))
    if any(figure.standard_uncertainty for _, figure in usable):
        left_out += [LeftOut(r, NO_UNCERTAINTY) for r, f in usable if not f.standard_uncertainty]
        usable = [(r, f) for r, f in usable if f.standard_uncertainty]
    if not usable:
        return MetricPooling(metric, None, left_out=tuple(left_out))
    shared = _shared(usable)
    names = _names([run for run, _ in usable])
    results = [_result(run, figure, names[run.tester_id]) for run, figure in usable]
    return MetricPooling(
        metric,
        pool(results, shared_uncertainty=shared),
        runs=tuple(run for run, _ in usable),
        left_out=tuple(left_out),
        shared_uncertainty=shared,
    )


def _why_not(run: PublishedRun, figure: Metric | None) -> str | None:
    """Why a run's figure is no value to pool; None where it is one."""
    if figure is None or figure.value is None:
        return (figure.reason if figure is not None else None) or NO_FIGURE
    if figure.lower_bound:
        return LOWER_BOUND
    steady = run.metrics.get(MetricName.SHAFT_POWER_MAX_STEADY)
    is_short = steady is not None and steady.lower_bound
    if figure.name is MetricName.SHAFT_POWER_MAX_MOMENTARY and is_short:
        return PEAK_NOT_REACHED
    return None


def _names(runs: Sequence[PublishedRun]) -> dict[str, str]:
    """Testers' names by their ids; two of one name are told apart."""
    names = {run.tester_id: run.tester for run in runs}
    shown = list(names.values())
    return {
        key: name if shown.count(name) == 1 else f"{name} ({key})" for key, name in names.items()
    }


def _result(run: PublishedRun, figure: Metric, tester: str) -> BenchResult:
    assert figure.value is not None
    return BenchResult(
        tester=tester,
        value=figure.value,
        standard_uncertainty=figure.standard_uncertainty or None,
        specimen=run.specimen_id,
        run=run.public_id,
        u_within_run=_part(figure, {SCATTER}) if figure.budget else None,
    )


def _part(figure: Metric, components: set[str]) -> float:
    """What some lines of a figure's budget make of its standard uncertainty."""
    share = sum(line.share for line in figure.budget if line.component in components)
    return (figure.standard_uncertainty or 0.0) * sqrt(share)


def _shared(usable: Sequence[tuple[PublishedRun, Metric]]) -> float:
    """Standard uncertainty of what all testers have in common; zero for one tester alone."""
    testers = {run.tester_id for run, _ in usable}
    if len(testers) < 2:
        return 0.0
    used: dict[tuple[str, str], set[str]] = {}
    for run, _ in usable:
        for channel, name in run.instruments.items():
            used.setdefault((channel, name.casefold()), set()).add(run.tester_id)
    channels = {channel for (channel, _), by in used.items() if by == testers}
    if not channels:
        return 0.0
    parts = []
    for _, figure in usable:
        lines = {x.component for x in figure.budget if x.component.partition(":")[0] in channels}
        parts.append(_part(figure, lines))
    whole = min(figure.standard_uncertainty or 0.0 for _, figure in usable)
    return min(*parts, MOST_SHARED * whole)
