"""The newest readings of a test that others watch, its end, and the run it became."""

from collections.abc import Mapping

from sqlalchemy import delete, select
from sqlalchemy.orm import Session

from server.actions.open_live_test import LASTS
from server.errors import NotFound
from server.model.measured import JsonValue
from server.model.views import Tester
from server.store.journal import now
from server.store.live import GONE
from server.store.tables import LiveTestRow, RunRow


def update_live_test(
    session: Session,
    *,
    address: str,
    tester: Tester,
    readings: Mapping[str, JsonValue] | None,
    has_ended: bool = False,
    run_id: str | None = None,
) -> None:
    """Replace what the watchers see. The address lasts a day longer than the last word.

    Parameters
    ----------
    readings : JSON of a LiveReadings, SI; None: as they were.
    has_ended : the test is over; later readings still count, since the last ones may come late.
    run_id : the tester's own run that the test became. Watchers are led there once it is published.

    Raises
    ------
    NotFound: no such test of this tester, or it has expired; no such run of this tester.
    """
    at = now()
    row = session.execute(
        select(LiveTestRow).where(
            LiveTestRow.address == address,
            LiveTestRow.tester_id == tester.id,
            LiveTestRow.expires_at > at,
        )
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(GONE)
    if readings is not None:
        row.content = dict(readings)
    if run_id is not None:
        row.run_id = _own_run(session, run_id=run_id, tester=tester)
    if has_ended and row.ended_at is None:
        row.ended_at = at
    row.n_updates += 1
    row.updated_at = at
    row.expires_at = at + LASTS


def _own_run(session: Session, *, run_id: str, tester: Tester) -> int:
    found = session.execute(
        select(RunRow.id).where(RunRow.public_id == run_id, RunRow.tester_id == tester.id)
    ).scalar_one_or_none()
    if found is None:
        raise NotFound(f"There is no run {run_id} of yours.")
    return found


def remove_expired_tests(session: Session) -> None:
    """What can't be watched any more is not kept."""
    session.execute(delete(LiveTestRow).where(LiveTestRow.expires_at <= now()))
