"""Hold a run's figures against those of similar runs: how many standard deviations is it off?"""

from collections.abc import Mapping, Sequence
from dataclasses import replace
from math import exp, hypot, log
from statistics import fmean, stdev

from sqlalchemy.orm import Session

from server.actions.pool_appliance import pool_runs
from server.model.kind_metrics import METRICS_OF
from server.model.measured import Metric
from server.model.pooled import HEADLINE, PublishedRun
from server.model.similar import Basis, SimilarFigure
from server.model.words import MetricName, RunKind
from server.store.similar import runs_of_category, runs_of_same_appliance

# Below this many appliances a spread between them says nothing.
FEWEST_APPLIANCES = 3
_BRAKE = (*HEADLINE, MetricName.FREE_SPEED, MetricName.INPUT_POWER_AT_RATED_CURRENT)


def compare_with_similar(
    session: Session, *, run_id: str, kind: RunKind, metrics: Mapping[MetricName, Metric]
) -> tuple[SimilarFigure, ...]:
    """Each headline figure of a run beside similar published runs.

    Model:  n_off = (x - pooled) / sqrt(u_x^2 + u_pooled^2 + s_testers^2), against the other runs of
    the same appliance and kind, s_testers the standard deviation between testers; where there are
    none, n_off = (ln x - mean ln) / s of the newest run of each other appliance of the category.

    Parameters
    ----------
    run_id : public id of the run. kind, metrics : its own.

    Returns
    -------
    One SimilarFigure per figure that the run has with a value; `reason` where none can be told.

    Notes
    -----
    Between appliances of one category power spreads by a factor, not by an amount: hence the
    logarithm, which also shows a slip of units towards zero. Figures that are not positive are not
    compared so.
    """
    names = tuple(n for n in _names(kind) if n in metrics and metrics[n].value is not None)
    if not names:
        return ()
    same = runs_of_same_appliance(session, run_id=run_id, names=names)
    others: tuple[PublishedRun, ...] | None = None
    found = []
    for name in names:
        figure = _beside_same(metrics[name], same)
        if figure is None:
            if others is None:
                others = runs_of_category(session, run_id=run_id, names=names)
            figure = _beside_category(metrics[name], others)
        found.append(_without_at_least(figure))
    return tuple(found)


def _without_at_least(figure: SimilarFigure) -> SimilarFigure:
    """What was shown at least may be higher: below the others it says nothing."""
    if figure.own.lower_bound and figure.n_off is not None and figure.n_off < 0:
        return replace(figure, n_off=None, reason="at least only")
    return figure


def _names(kind: RunKind) -> tuple[MetricName, ...]:
    return _BRAKE if kind is RunKind.BRAKE else METRICS_OF.get(kind, ())


def _beside_same(own: Metric, runs: Sequence[PublishedRun]) -> SimilarFigure | None:
    """Beside the appliance's other runs; None where none of them has the figure."""
    pooled = pool_runs(runs, metric=own.name)
    if pooled.pooling is None or own.value is None:
        return None
    centre, between = pooled.pooling.pooled, pooled.pooling.between_tester_sd or 0.0
    spread = hypot(own.standard_uncertainty or 0.0, centre.standard_uncertainty or 0.0, between)
    n_off = (own.value - centre.value) / spread if spread > 0 else None
    return SimilarFigure(
        own=own,
        basis=Basis.APPLIANCE,
        typical=centre.value,
        low=centre.value - spread,
        high=centre.value + spread,
        n_runs=len(pooled.runs),
        n_things=pooled.pooling.n_testers,
        n_off=n_off,
        reason=None if n_off is not None else "no uncertainty is known on either side",
    )


def _beside_category(own: Metric, runs: Sequence[PublishedRun]) -> SimilarFigure:
    logs = []
    for run in runs:
        other = run.metrics.get(own.name)
        if other is not None and other.value is not None and other.value > 0:
            logs.append(log(other.value))
    if own.value is None or own.value <= 0:
        return SimilarFigure(own=own, reason="it is not more than zero")
    if len(logs) < FEWEST_APPLIANCES:
        return SimilarFigure(own=own, reason="too few similar runs to compare with")
    centre, spread = fmean(logs), stdev(logs)
    return SimilarFigure(
        own=own,
        basis=Basis.CATEGORY,
        typical=exp(centre),
        low=exp(centre - spread),
        high=exp(centre + spread),
        n_runs=len(logs),
        n_things=len(logs),
        n_off=(log(own.value) - centre) / spread if spread > 0 else None,
        reason=None if spread > 0 else "the others do not differ",
    )
