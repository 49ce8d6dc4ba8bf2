"""Make the figures of stored runs anew, publish them, and say what changed."""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

from sqlalchemy import Engine, select
from sqlalchemy.orm import Session

from server.actions.move_run import move_run
from server.actions.reduce_again import (
    StoredRun,
    change_of,
    chosen_runs,
    read_stored,
    reduce_again,
)
from server.actions.settle_run import add_metric_set
from server.model.changes import RunChange
from server.model.results import Reduction
from server.model.words import RunState
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.journal import OPERATOR, SYSTEM, Actor, now, record
from server.store.listing import rewrite_listing


def recompute_runs(
    engine: Engine,
    *,
    files: Path,
    public_ids: Sequence[str] = (),
    only_stale: bool = False,
    actor: Actor = OPERATOR,
    on_count: Callable[[int], None] | None = None,
) -> Iterator[RunChange]:
    """Recompute runs one after the other, each in a transaction of its own.

    No session is open while numbers are made. A set of figures is added where any differs (by
    more than 1e-9 relative) or the method is another; the old set stays and the run's pointer
    moves. Then the rule of publication is applied again.

    Parameters
    ----------
    files : folder of the stored files.
    public_ids : which runs; none named: all that have figures.
    only_stale : only those made by another method than today's.
    actor : who asked.
    on_count : told how many runs it will be, for a progress bar.

    Yields
    ------
    One RunChange per run, in the order of the runs.

    Raises
    ------
    NotFound: a named run does not exist or has no figures, or what they were made from is gone.
    """
    run_ids = chosen_runs(engine, public_ids=public_ids, only_stale=only_stale)
    if on_count is not None:
        on_count(len(run_ids))
    for run_id in run_ids:
        with read_session(engine) as session:
            stored = read_stored(session, run_id, files=files)
        reduction, input_digest = reduce_again(stored, files=files)
        with write_session(engine) as session:
            change = _store(
                session, stored, reduction=reduction, input_digest=input_digest, actor=actor
            )
        if change is not None:
            yield change


def _store(
    session: Session, stored: StoredRun, *, reduction: Reduction, input_digest: str, actor: Actor
) -> RunChange | None:
    """None: the run changed meanwhile, and whoever changed it made its figures."""
    run = session.execute(
        select(t.RunRow).where(t.RunRow.id == stored.run_id).with_for_update(key_share=True)
    ).scalar_one()
    before = stored.view.reduction
    if run.current_set_id != stored.set_id or before is None:
        return None
    state = RunState(run.state)
    # Its state may be another by now than when it was read.
    change = change_of(replace(stored.view, state=state), before, reduction)
    if not change.is_new_set:
        return change
    revision_id = run.current_revision_id
    assert revision_id is not None  # a run with figures has a revision
    row = add_metric_set(
        session, revision_id=revision_id, reduction=reduction, input_digest=input_digest
    )
    run.current_set_id = row.id
    run.updated_at = now()
    run.version += 1  # who was looking at the figures of before is told so
    record(
        session,
        actor=actor,
        act="figures recomputed",
        subject_kind="run",
        subject_id=run.id,
        before={"set": stored.set_id, "method": change.method_before},
        after={"set": row.id, "method": change.method_after},
    )
    if change.state_after is not state:
        move_run(session, run=run, to=change.state_after, actor=SYSTEM)
    # A set that is held back at once was never shown.
    row.was_published = change.state_after is RunState.PUBLISHED
    rewrite_listing(session, appliance_id=run.appliance_id)
    return change
