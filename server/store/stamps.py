"""When a thing last changed: one cheap statement, so that an unchanged answer is not made again."""

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.model.views import Tester
from server.store import tables as t
from server.store.runs import visible


def run_stamp(session: Session, *, public_id: str, viewer: Tester | None) -> str | None:
    """Changes whenever the run, its figures or its appliance do; None for a run not to be seen."""
    run, listing = t.RunRow, t.ListingRow
    row = session.execute(
        select(run.updated_at, run.current_set_id, run.state, listing.updated_at.label("listed_at"))
        .outerjoin(listing, listing.appliance_id == run.appliance_id)
        .where(run.public_id == public_id, visible(viewer))
    ).first()
    return None if row is None else f"{row.updated_at}|{row[1]}|{row.state}|{row.listed_at}"


def appliance_stamp(session: Session, *, public_id: str) -> str | None:
    """Changes whenever what is open to all about the appliance does; None for an unknown one."""
    listing = t.ListingRow
    row = session.execute(
        select(listing.updated_at, listing.metric_set_id, listing.n_runs).where(
            listing.public_id == public_id
        )
    ).first()
    return None if row is None else f"{row.updated_at}|{row.metric_set_id}|{row.n_runs}"
