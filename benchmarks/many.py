"""A database as large as the ledger may grow: the demonstration's rows, copied with other keys.

Every copy is a whole appliance (plate, claims, specimen, listing row, search words) with several
runs (revision, metric set, metrics, findings). One appliance in ten keeps points and curves with
its runs, or the file would be gigabytes of copies; those are the ones that comparisons read. Rows
are inserted in bulk past the actions: what is measured is reading.
"""

import random
from collections.abc import Iterator
from typing import Any

from sqlalchemy import Engine, insert, select, text

from server.store import tables as t
from server.store.database import read_session, write_session

RUNS_PER_APPLIANCE = 5
BATCH = 500
WITH_CURVES = 10  # one appliance in so many
ALPHABET = "0123456789abcdefghjkmnpqrstvwxyz"

Rows = dict[str, Any]


def multiply(engine: Engine, *, n_appliances: int, seed: int = 7) -> None:
    """Add appliances until there are `n_appliances` copies, each with five published runs."""
    with read_session(engine) as session:
        samples = _samples(session)
    rng = random.Random(seed)
    key = 1_000_000
    for first in range(0, n_appliances, BATCH):
        with write_session(engine) as session:
            session.execute(text("PRAGMA defer_foreign_keys = ON"))
            batch: dict[Any, list[Rows]] = {}
            for number in range(first, min(first + BATCH, n_appliances)):
                key += 100
                for table, row in _copy(rng.choice(samples), number, key, rng):
                    batch.setdefault(table, []).append(row)
            for table, rows in batch.items():
                session.execute(insert(table), rows)
    with write_session(engine) as session:
        session.execute(text("ANALYZE"))


def _rows(session: Any, table: Any, *where: Any) -> list[Rows]:
    columns = table.__table__.columns
    found = session.execute(select(*columns).where(*where)).mappings()
    return [dict(row) for row in found]


def _samples(session: Any) -> list[dict[str, Any]]:
    """Appliances of the demonstration that have a published run with figures."""
    samples = []
    for listing in _rows(session, t.ListingRow, t.ListingRow.run_id.is_not(None)):
        (run,) = _rows(session, t.RunRow, t.RunRow.id == listing["run_id"])
        made, at = run["current_set_id"], listing["appliance_id"]
        (revision,) = _rows(
            session, t.RunRevisionRow, t.RunRevisionRow.id == run["current_revision_id"]
        )
        plate, specimen = revision["plate_revision_id"], revision["specimen_id"]
        samples.append(
            {
                "listing": listing,
                "run": run,
                "revision": revision,
                "appliance": _rows(session, t.ApplianceRow, t.ApplianceRow.id == at)[0],
                "set": _rows(session, t.MetricSetRow, t.MetricSetRow.id == made)[0],
                "metrics": _rows(session, t.MetricRow, t.MetricRow.metric_set_id == made),
                "findings": _rows(session, t.FindingRow, t.FindingRow.metric_set_id == made),
                "claims": _rows(session, t.ClaimRow, t.ClaimRow.appliance_id == at),
                "plates": _rows(session, t.PlateRevisionRow, t.PlateRevisionRow.id == plate),
                "specimens": _rows(session, t.SpecimenRow, t.SpecimenRow.id == specimen),
            }
        )
    return samples


def _id(rng: random.Random) -> str:
    return "".join(rng.choices(ALPHABET, k=10))


def _copy(
    sample: dict[str, Any], number: int, key: int, rng: random.Random
) -> Iterator[tuple[Any, Rows]]:
    scale = rng.uniform(0.5, 1.5)
    appliance = sample["appliance"]
    model = f"{appliance['model']} {number}"
    public_id = _id(rng)
    named = {"public_id": public_id, "model": model}
    yield (
        t.ApplianceRow,
        {**appliance, **named, "id": key, "model_key": f"{appliance['model_key']} {number}"},
    )
    for plate in sample["plates"]:
        yield t.PlateRevisionRow, {**plate, "id": key, "appliance_id": key}
    for offset, claim in enumerate(sample["claims"]):
        yield (
            t.ClaimRow,
            {**claim, "id": key + offset, "public_id": _id(rng), "appliance_id": key},
        )
    for specimen in sample["specimens"]:
        yield (
            t.SpecimenRow,
            {**specimen, "id": key, "public_id": _id(rng), "appliance_id": key},
        )
    run_ids = [_id(rng) for _ in range(RUNS_PER_APPLIANCE)]
    for offset, run_id in enumerate(run_ids):
        thin = number % WITH_CURVES != 0
        yield from _copy_run(sample, key=key, run_key=key + offset, run_id=run_id, thin=thin)
    yield t.ListingRow, _listing(sample, named, key, run_ids[0], scale)
    for word in {appliance["maker_key"].split()[0], sample["listing"]["category"], str(number)}:
        yield t.ListingWordRow, {"word": word, "appliance_id": key}


def _listing(
    sample: dict[str, Any], named: Rows, key: int, run_id: str, scale: float
) -> dict[str, Any]:
    """The figures shift a little from copy to copy, so that sorting has something to do."""
    row = {
        **sample["listing"],
        **named,
        "appliance_id": key,
        "name_key": f"{sample['listing']['name_key']} {key}",
        "run_id": key,
        "run_public_id": run_id,
        "metric_set_id": key,
        "n_runs": RUNS_PER_APPLIANCE,
    }
    for name in ("printed_power_w", "shaft_power_max_steady", "ratio", "efficiency_max"):
        if row[name] is not None:
            row[name] = row[name] * scale
    return row


def _copy_run(
    sample: dict[str, Any], *, key: int, run_key: int, run_id: str, thin: bool
) -> Iterator[tuple[Any, Rows]]:
    yield (
        t.RunRevisionRow,
        {
            **sample["revision"],
            "id": run_key,
            "run_id": run_key,
            "specimen_id": key,
            "plate_revision_id": key,
        },
    )
    long_parts = {"points": [], "curves": [], "segments": []} if thin else {}
    own = {"id": run_key, "run_revision_id": run_key, **long_parts}
    yield t.MetricSetRow, {**sample["set"], **own}
    yield (
        t.RunRow,
        {
            **sample["run"],
            "id": run_key,
            "public_id": run_id,
            "appliance_id": key,
            "idempotency_key": f"copy {run_key}",
            "current_revision_id": run_key,
            "current_set_id": run_key,
        },
    )
    for table, part in (
        (t.MetricRow, "metrics"),
        (t.FindingRow, "findings"),
    ):
        for row in sample[part]:
            yield table, {**row, "metric_set_id": run_key}
