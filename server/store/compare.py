"""Appliances side by side."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.views import ApplianceView, Tester
from server.store import tables as t
from server.store.appliances import load_appliance_views
from server.store.matching import follow_merges


def compare_views(
    session: Session, *, public_ids: Sequence[str], viewer: Tester | None
) -> tuple[ApplianceView, ...]:
    """The appliances in the order asked, without the parts that no comparison shows.

    One that was merged stands for what it was merged into; the same one twice is shown once.

    Raises
    ------
    NotFound: names every id that is no appliance.
    """
    rows = session.execute(
        select(t.ApplianceRow).where(t.ApplianceRow.public_id.in_(public_ids))
    ).scalars()
    found = {row.public_id: follow_merges(session, row) for row in rows}
    missing = [public_id for public_id in public_ids if public_id not in found]
    if missing:
        raise NotFound(f"There is no appliance {', '.join(missing)}.")
    wanted = {found[public_id].id: found[public_id] for public_id in public_ids}
    return load_appliance_views(
        session, rows=list(wanted.values()), viewer=viewer, is_whole=False, journals={}
    )
