"""Tests that others watch while they go on, each at an address that nobody can guess."""

from collections.abc import Mapping
from typing import Any

from sqlalchemy import and_, select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.live import LiveQuantity, LiveReadings, LiveView
from server.model.words import RunState
from server.store import tables as t
from server.store.journal import now

GONE = "There is no test at this address. It ends a day after its test."


def live_stamp(session: Session, *, address: str) -> str | None:
    """Changes whenever what watchers see does; None for no test, or one that has expired.

    Touches one row, and that of the run where there is one.
    """
    live, run = t.LiveTestRow, t.RunRow
    row = session.execute(
        select(live.n_updates, live.ended_at, live.expires_at, run.state)
        .outerjoin(run, run.id == live.run_id)
        .where(live.address == address)
    ).first()
    if row is None or row.expires_at <= now():
        return None
    return f"{row.n_updates} {row.ended_at} {row.state}"


def live_view(session: Session, *, address: str) -> LiveView:
    """A test as its watchers see it. Raises NotFound for none, or one that has expired."""
    live, run = t.LiveTestRow, t.RunRow
    row = session.execute(
        select(live, t.TesterRow.name, run.public_id)
        .join(t.TesterRow, t.TesterRow.id == live.tester_id)
        .outerjoin(run, and_(run.id == live.run_id, run.state == RunState.PUBLISHED))
        .where(live.address == address)
    ).first()
    if row is None or row[0].expires_at <= now():
        raise NotFound(GONE)
    test, tester, run_id = row
    return LiveView(
        address=test.address,
        title=test.title,
        tester=tester,
        readings=readings_of(test.content),
        n_updates=test.n_updates,
        started_at=test.started_at,
        updated_at=test.updated_at,
        ended_at=test.ended_at,
        expires_at=test.expires_at,
        run_id=run_id,
    )


def own_live_tests(session: Session, *, tester_id: int) -> tuple[t.LiveTestRow, ...]:
    """A tester's tests that can still be watched, the newest first."""
    live = t.LiveTestRow
    rows = session.scalars(
        select(live)
        .where(live.tester_id == tester_id, live.expires_at > now())
        .order_by(live.started_at.desc())
    )
    return tuple(rows)


def readings_of(stored: Mapping[str, Any]) -> LiveReadings:
    if not stored:
        return LiveReadings()
    return LiveReadings(
        at_s=stored["at_s"],
        n_lines=stored["n_lines"],
        n_unreadable=stored["n_unreadable"],
        now=_by_quantity(stored["now"]),
        highest=_by_quantity(stored["highest"]),
        trace_s=tuple(stored["trace_s"]),
        trace={LiveQuantity(q): tuple(v) for q, v in stored["trace"].items()},
    )


def _by_quantity(stored: Mapping[str, float]) -> dict[LiveQuantity, float]:
    return {LiveQuantity(q): value for q, value in stored.items()}
