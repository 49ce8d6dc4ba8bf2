"""The states of a run: one table of allowed moves, one function that makes them."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy.orm import Session

from server.errors import Conflict
from server.model.words import RunState
from server.store.journal import Actor, now, record
from server.store.listing import rewrite_listing
from server.store.tables import MetricSetRow, RunRow

ALLOWED_MOVES: dict[RunState, frozenset[RunState]] = {
    RunState.WORKING: frozenset(
        {RunState.WAITING, RunState.PUBLISHED, RunState.FAILED, RunState.WITHDRAWN}
    ),
    # Back to `working`: its tester corrects it, and the new revision's figures are made.
    RunState.WAITING: frozenset(
        {RunState.WORKING, RunState.PUBLISHED, RunState.RETURNED, RunState.WITHDRAWN}
    ),
    RunState.PUBLISHED: frozenset({RunState.WORKING, RunState.WAITING, RunState.WITHDRAWN}),
    RunState.RETURNED: frozenset({RunState.WORKING, RunState.WAITING, RunState.WITHDRAWN}),
    RunState.FAILED: frozenset({RunState.WORKING, RunState.WITHDRAWN}),
    RunState.WITHDRAWN: frozenset(),
}


def move_run(
    session: Session,
    *,
    run: RunRow,
    to: RunState,
    actor: Actor,
    note: str | None = None,
    failure: str | None = None,
    version: int | None = None,
    details: Mapping[str, Any] | None = None,
) -> None:
    """Move a run from its state to another, with its journal entry and its appliance's listing.

    Parameters
    ----------
    run : the row, locked and read in this transaction.
    to : the new state.
    actor : who moves it; a rule moves as `system`.
    note : a reason by a person, kept apart from the journal.
    failure : what went wrong, needed for `failed`.
    version : of the run as it was looked at; None: whatever it is now.
    details : what else the journal keeps of the move; never a name or a text.

    Raises
    ------
    Conflict: the table of moves does not allow it from where the run stands now, or somebody
        decided meanwhile.
    """
    state = RunState(run.state)
    if version is not None and version != run.version:
        raise Conflict(
            f"This run was decided on meanwhile: it is {state.value} now. Look at it again."
        )
    if to not in ALLOWED_MOVES[state]:
        raise Conflict(f"This run is {state.value}; it can't become {to.value}.")
    run.state = to.value
    run.failure = failure
    run.updated_at = now()
    run.version += 1
    run.assigned_to_id = run.assigned_at = None
    if to is not RunState.PUBLISHED:
        run.accepted_at = None
        run.needs_look = False
    if to is RunState.PUBLISHED:
        run.published_at = run.published_at or run.updated_at
        session.get_one(MetricSetRow, run.current_set_id).was_published = True
    record(
        session,
        actor=actor,
        act=f"run {to.value}",
        subject_kind="run",
        subject_id=run.id,
        before={"state": state.value},
        after={"state": to.value, **(details or {})},
        note=note,
    )
    if RunState.PUBLISHED in (state, to):
        rewrite_listing(session, appliance_id=run.appliance_id)
