"""Say what recomputing stored runs would change, before any of it is published."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.reduce_again import (
    StoredRun,
    change_of,
    chosen_runs,
    read_stored,
    reduce_again,
)
from server.model.changes import MetricChange, RunChange
from server.model.results import Reduction
from server.model.words import RunKind, RunState
from server.reduction import place_in_use
from server.store import tables as t
from server.store.database import read_session


def compare_runs(
    engine: Engine,
    *,
    files: Path,
    public_ids: Sequence[str] = (),
    only_stale: bool = False,
    on_count: Callable[[int], None] | None = None,
) -> Iterator[RunChange]:
    """What `recompute_runs` with the same choice would change. Nothing is stored.

    Parameters
    ----------
    files : folder of the stored files. public_ids : which runs; none named: all that have figures.
    only_stale : only those made by another method than today's.
    on_count : told how many runs it will be, for a progress bar.

    Yields
    ------
    One RunChange per run, in the order of the runs; its figures come without their budgets.

    Raises
    ------
    NotFound: a named run does not exist or has no figures.

    Notes
    -----
    What a run in use shows of its appliance's brake run is made when it is read, so it moves with
    the brake run: published runs in use that rest on a chosen brake run are compared too, by their
    stored figures where they were not chosen themselves. A brake run that would be held back is
    placed on all the same; which one would then stand for the appliance is not foreseen.
    """
    chosen = chosen_runs(engine, public_ids=public_ids, only_stale=only_stale)
    with read_session(engine) as session:
        brake_runs = _brake_runs(session)
    anew = set(chosen)
    resting = sorted(run for run, on in brake_runs.items() if on in anew and run not in anew)
    if on_count is not None:
        on_count(len(chosen) + len(resting))
    for run_id in (*chosen, *resting):
        with read_session(engine) as session:
            stored = read_stored(session, run_id, files=files)
            on = brake_runs.get(run_id)
            brake = read_stored(session, on, files=files) if on is not None else None
        before, after = _both(stored, files=files, is_anew=run_id in anew)
        if stored.view.details.kind is RunKind.IN_USE and before is not None and after is not None:
            before, after = _placed(before, after, brake, files=files, is_anew=on in anew)
        if before is not None and after is not None:
            change = change_of(stored.view, before, after)
            yield replace(change, metrics=tuple(_without_budget(m) for m in change.metrics))


def _both(
    stored: StoredRun, *, files: Path, is_anew: bool
) -> tuple[Reduction | None, Reduction | None]:
    before = stored.view.reduction
    return before, reduce_again(stored, files=files)[0] if is_anew else before


def _placed(
    before: Reduction, after: Reduction, brake: StoredRun | None, *, files: Path, is_anew: bool
) -> tuple[Reduction, Reduction]:
    """Both with the figures that rest on the brake run, each on the curves of its own method."""
    old, new = _both(brake, files=files, is_anew=is_anew) if brake is not None else (None, None)
    return (
        replace(before, metrics=place_in_use(before.metrics, curve_of=old)),
        replace(after, metrics=place_in_use(after.metrics, curve_of=new)),
    )


def _brake_runs(session: Session) -> dict[int, int]:
    """Published runs in use, each with the brake run that stands for its appliance."""
    run, listing = t.RunRow, t.ListingRow
    rows = session.execute(
        select(run.id, listing.run_id)
        .join(listing, listing.appliance_id == run.appliance_id)
        .where(
            run.kind == RunKind.IN_USE,
            run.state == RunState.PUBLISHED,
            run.current_set_id.is_not(None),
            listing.run_id.is_not(None),
        )
    )
    return {row.id: row.run_id for row in rows}


def _without_budget(change: MetricChange) -> MetricChange:
    return replace(
        change, before=replace(change.before, budget=()), after=replace(change.after, budget=())
    )
