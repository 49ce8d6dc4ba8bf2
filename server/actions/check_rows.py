"""Check the rows: what they refer to is there, and what is made from them is what they make."""

from collections.abc import Iterator
from datetime import timedelta
from typing import Any

from sqlalchemy import Column, Table, and_, exists, func, or_, select, text
from sqlalchemy.orm import Session

from server.actions.prepare_run import digest_inputs
from server.model.bench import Bench
from server.model.checking import Fault, Note, OnDone, OnStep, Part
from server.model.checking import ignore_done as _ignore_done
from server.model.checking import ignore_step as _ignore_step
from server.store import tables as t
from server.store.journal import now
from server.store.listing import listing_values, merged_into, search_words
from server.store.shapes import details_of, plate_of, rig_of
from server.store.types import plain_json

ROWS_AT_ONCE = 200
MOST_NAMED = 20
RESTORE = "Restore from a backup, or ask who wrote to the database by hand."


def check_rows(
    session: Session, *, on_step: OnStep = _ignore_step, on_done: OnDone = _ignore_done
) -> Iterator[Fault | Note]:
    """Look for rows that refer to nothing, and rows of files that nothing refers to.

    Parameters
    ----------
    session : its reads see the rows at one moment.
    on_step, on_done : told how many references there are between tables, and of those looked at.

    Yields
    ------
    A Fault for each such row (of one reference the first MOST_NAMED). On SQLite also what its own
    check of the file finds.
    """
    keys = [
        (table, key.parent, key.column)
        for table in t.Table.metadata.sorted_tables
        for key in sorted(table.foreign_keys, key=lambda one: one.parent.name)
    ]
    on_step(Part.ROWS, len(keys) + 2)
    if session.get_bind().dialect.name == "sqlite":
        for (said,) in session.execute(text(f"PRAGMA quick_check({MOST_NAMED})")).all():
            if said != "ok":
                yield Fault(Part.ROWS, "database file", f"it is damaged: {said}.", RESTORE)
    for table, column, target in keys:
        yield from _dangling(session, table, column, target)
        on_done(1)
    for kept in (t.StoredFileRow.__table__, t.RecordingRow.__table__):
        assert isinstance(kept, Table)
        yield from _unused(session, kept, [k for k in keys if k[2].table is kept])
        on_done(1)


def _dangling(
    session: Session, table: Table, column: Column[Any], target: Column[Any]
) -> Iterator[Fault]:
    there = target.table.alias()
    is_there = exists().where(there.c[target.name] == column)
    keys = list(table.primary_key.columns)
    rows = session.execute(
        select(*keys, column).where(column.is_not(None), ~is_there).limit(MOST_NAMED)
    ).all()
    for *key, value in rows:
        words = ", ".join(str(part) for part in key)
        yield Fault(
            Part.ROWS,
            f"{table.name} {words}",
            f"its {column.name} is {value}, and there is no such {target.table.name}.",
            RESTORE,
        )


def _unused(
    session: Session, kept: Table, keys: list[tuple[Table, Column[Any], Column[Any]]]
) -> Iterator[Fault]:
    old = now() - timedelta(hours=1)
    used = or_(*(exists().where(column == kept.c.sha256) for _, column, _ in keys))
    rows = session.execute(
        select(kept.c.sha256).where(and_(~used, kept.c.created_at < old)).limit(MOST_NAMED)
    )
    for sha256 in rows.scalars():
        yield Fault(
            Part.ROWS,
            f"{kept.name} {sha256}",
            "nothing refers to it.",
            "The worker removes such rows within minutes; see that it runs.",
        )


def check_listing(
    session: Session, *, on_step: OnStep = _ignore_step, on_done: OnDone = _ignore_done
) -> Iterator[Fault]:
    """Compare every row of the catalogue with what it would be if it were made now.

    Yields
    ------
    A Fault for each appliance whose row, or whose words in the search, differ.
    """
    on_step(Part.LISTING, _count(session, t.ApplianceRow))
    for appliance in session.execute(select(t.ApplianceRow)).yield_per(ROWS_AT_ONCE).scalars():
        wrong = _listing_faults(session, appliance)
        if wrong:
            yield Fault(
                Part.LISTING,
                f"appliance {appliance.public_id}",
                f"the catalogue shows another {', '.join(wrong)} than its runs and claims give.",
                "Run `benchledger recompute` for one of its runs; that writes its row anew.",
            )
        on_done(1)


def _listing_faults(session: Session, appliance: t.ApplianceRow) -> list[str]:
    row = session.get(t.ListingRow, appliance.id)
    word = t.ListingWordRow
    words = set(
        session.execute(select(word.word).where(word.appliance_id == appliance.id)).scalars()
    )
    if appliance.merged_into_id is not None:
        return ["row, though it was merged,"] if row is not None or words else []
    if row is None:
        return ["row (none at all)"]
    meant = listing_values(session, appliance)
    wrong = [
        name
        for name, value in meant.items()
        if name != "rewritten_at" and plain_json(getattr(row, name)) != plain_json(value)
    ]
    meant_words = search_words(appliance, merged=merged_into(session, appliance))
    return wrong + (["search words"] if words != set(meant_words) else [])


def check_figures(
    session: Session, *, on_step: OnStep = _ignore_step, on_done: OnDone = _ignore_done
) -> Iterator[Fault]:
    """Compare each set of figures with the digest of what it says it was made from.

    Yields
    ------
    A Fault for each set whose recording, plate, rig or description is not what it was made with.
    """
    on_step(Part.FIGURES, _count(session, t.MetricSetRow))
    figures, sent = t.MetricSetRow, t.RunRevisionRow
    rows = session.execute(
        select(
            figures.id,
            figures.input_digest,
            sent,
            t.PlateRevisionRow,
            t.RigRevisionRow,
            t.RunRow.kind,
            t.RunRow.public_id,
        )
        .join(sent, sent.id == figures.run_revision_id)
        .join(t.RunRow, t.RunRow.id == sent.run_id)
        .join(t.PlateRevisionRow, t.PlateRevisionRow.id == sent.plate_revision_id)
        .join(t.RigRevisionRow, t.RigRevisionRow.id == sent.rig_revision_id)
        .order_by(figures.id)
    )
    for set_id, digest, revision, plate, rig, kind, run_id in rows.yield_per(ROWS_AT_ONCE):
        bench = Bench(plate=plate_of(plate), rig=rig_of(rig), run=details_of(revision, kind=kind))
        recording = revision.recording_sha256
        if recording is None or digest_inputs(recording, bench=bench) != digest:
            yield Fault(
                Part.FIGURES,
                f"run {run_id}, set {set_id}",
                "its recording, plate, rig or description is not what its figures were made from.",
                RESTORE,
            )
        on_done(1)


def _count(session: Session, table: type[t.Table]) -> int:
    return session.execute(select(func.count()).select_from(table)).scalar_one()
