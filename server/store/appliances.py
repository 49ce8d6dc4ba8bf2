"""Appliances as readers see them, several at once in a constant number of statements."""

from collections.abc import Sequence

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import Moved, NotFound
from server.model.bench import Plate
from server.model.views import ApplianceView, JournalRow, RunView, Stored, Tester
from server.store import tables as t
from server.store.journal import journal_of
from server.store.matching import follow_merges
from server.store.run_views import claims_of, load_compared_runs, load_run_views
from server.store.runs import rows_of_appliances
from server.store.shapes import appliance_of, plate_of


def appliance_view(session: Session, *, public_id: str, viewer: Tester | None) -> ApplianceView:
    """All that an appliance's page shows.

    Raises
    ------
    NotFound: no such appliance.
    Moved: it was merged into another; `location` is that one's path, id and slug.
    """
    row = find_appliance_row(session, public_id=public_id)
    if row.merged_into_id is not None:
        target = follow_merges(session, row)
        raise Moved(f"/appliances/{target.public_id}-{target.slug}")
    journal = journal_of(session, subject_kind="appliance", subject_id=row.id)
    (view,) = load_appliance_views(
        session, rows=[row], viewer=viewer, is_whole=True, journals={row.id: journal}
    )
    return view


def find_appliance_row(session: Session, *, public_id: str) -> t.ApplianceRow:
    row = session.execute(
        select(t.ApplianceRow).where(t.ApplianceRow.public_id == public_id)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no appliance {public_id}.")
    return row


def load_appliance_views(
    session: Session,
    *,
    rows: Sequence[t.ApplianceRow],
    viewer: Tester | None,
    is_whole: bool,
    journals: dict[int, tuple[JournalRow, ...]],
) -> tuple[ApplianceView, ...]:
    """Appliances in the order given; the number of statements does not grow with them.

    `is_whole`: with trace, segments, motor model and budgets of the run shown.
    """
    keys = [row.id for row in rows]
    listings = {
        listing.appliance_id: listing
        for listing in session.execute(
            select(t.ListingRow).where(t.ListingRow.appliance_id.in_(keys))
        ).scalars()
    }
    plates = _current_plates(session, keys)
    claims = claims_of(session, keys)
    runs = rows_of_appliances(session, keys, viewer=viewer)
    best_ids = [one.run_id for one in listings.values() if one.run_id is not None]
    best: dict[int, RunView] = {}
    if best_ids and is_whole:
        best = load_run_views(session, run_ids=best_ids, with_trace=True)
    elif best_ids:
        best = load_compared_runs(session, run_ids=best_ids)
    views = []
    for row in rows:
        listing = listings[row.id]
        plate, number = plates.get(row.id, (Plate(), 0))
        views.append(
            ApplianceView(
                appliance=Stored(row.public_id, row.slug, appliance_of(row)),
                plate=plate,
                plate_revision=number,
                claims=claims[row.id],
                runs=runs[row.id],
                best=best.get(listing.run_id) if listing.run_id is not None else None,
                n_specimens=listing.n_specimens,
                n_testers=listing.n_testers,
                journal=journals.get(row.id, ()),
                updated_at=listing.rewritten_at,
            )
        )
    return tuple(views)


def plate_revisions(session: Session, *, public_id: str) -> tuple[Stored[Plate], ...]:
    """Every revision of an appliance's rating plate, newest first."""
    row = find_appliance_row(session, public_id=public_id)
    found = session.execute(
        select(t.PlateRevisionRow)
        .where(t.PlateRevisionRow.appliance_id == row.id)
        .order_by(t.PlateRevisionRow.number.desc())
    ).scalars()
    return tuple(Stored(row.public_id, row.slug, plate_of(one), one.number) for one in found)


def _current_plates(session: Session, keys: Sequence[int]) -> dict[int, tuple[Plate, int]]:
    plate = t.PlateRevisionRow
    rows = session.execute(
        select(plate).where(plate.appliance_id.in_(keys)).order_by(plate.number)
    ).scalars()
    return {row.appliance_id: (plate_of(row), row.number) for row in rows}
