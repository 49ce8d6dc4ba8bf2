"""Fill a bench with the stored plate, rig and appliance that a run will refer to."""

from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import InvalidInput, NotAllowed, NotFound, Problem
from server.model.bench import Appliance, Bench, Plate
from server.model.views import Tester
from server.store.matching import current_plate, current_rig, find_appliance, follow_merges
from server.store.shapes import appliance_of, plate_of, rig_of, specimen_of
from server.store.tables import ApplianceRow, RigRevisionRow, RigRow, SpecimenRow


@dataclass(frozen=True, slots=True)
class Chosen:
    """The stored things that ids name. None: none was named."""

    appliance: ApplianceRow | None
    specimen: SpecimenRow | None
    rig: RigRevisionRow | None


def complete_bench(
    session: Session,
    *,
    bench: Bench,
    tester: Tester,
    appliance_id: str | None = None,
    specimen_id: str | None = None,
    rig_id: str | None = None,
) -> Bench:
    """The bench that a run's figures are to be made with.

    Ids overrule the bench's parts: a named rig stands for `[rig]` and `[[instrument]]`, a named
    appliance (or specimen) for `[appliance]` and, where a plate is stored, for `[plate]`. Without
    an id, a plate that says nothing is the stored one of the same maker and model.

    Raises
    ------
    NotFound, NotAllowed, InvalidInput: as `submit_run` would, for the same ids.
    """
    chosen = choose(
        session,
        bench=bench,
        tester=tester,
        appliance_id=appliance_id,
        specimen_id=specimen_id,
        rig_id=rig_id,
    )
    appliance = chosen.appliance
    is_named = appliance is not None
    if appliance is None and bench.appliance is not None:
        appliance = find_appliance(
            session, maker=bench.appliance.maker, model=bench.appliance.model
        )
    if appliance is not None:
        stored = current_plate(session, appliance_id=appliance.id)
        if stored is not None and (is_named or bench.plate == Plate()):
            bench = replace(bench, plate=plate_of(stored))
        if is_named:
            bench = replace(bench, appliance=appliance_of(appliance))
    if chosen.specimen is not None:
        bench = replace(bench, specimen=specimen_of(chosen.specimen))
    if chosen.rig is not None:
        bench = replace(bench, rig=rig_of(chosen.rig))
    return bench


def choose(
    session: Session,
    *,
    bench: Bench,
    tester: Tester,
    appliance_id: str | None,
    specimen_id: str | None,
    rig_id: str | None,
) -> Chosen:
    """Look up what ids name; a specimen alone names its appliance too."""
    specimen = _specimen(session, specimen_id, tester) if specimen_id is not None else None
    appliance = _appliance(session, appliance_id) if appliance_id is not None else None
    if specimen is not None:
        of_specimen = follow_merges(session, session.get_one(ApplianceRow, specimen.appliance_id))
        if appliance is not None and appliance.id != of_specimen.id:
            problem = Problem(
                "it is a piece of another appliance.",
                "Name a specimen of this appliance, or leave one of the two out.",
                field="specimen",
            )
            raise InvalidInput("run", [problem])
        appliance = of_specimen
    if appliance is None:
        check_appliance(bench.appliance)
    rig = _rig(session, rig_id, tester) if rig_id is not None else None
    return Chosen(appliance=appliance, specimen=specimen, rig=rig)


def check_appliance(appliance: Appliance | None) -> None:
    """Raises InvalidInput, with every problem, for an appliance that can't be stored."""
    given = appliance or Appliance(maker="", model="", category="")
    missing = [name for name in ("maker", "model") if not getattr(given, name).strip()]
    if missing:
        problems = [
            Problem(
                f"a run is stored under its appliance, and the {name} is missing.",
                f"Give {name} under [appliance], or name a stored appliance by its id.",
                field=f"appliance.{name}",
            )
            for name in missing
        ]
        raise InvalidInput("run", problems)


def _appliance(session: Session, public_id: str) -> ApplianceRow:
    row = session.execute(
        select(ApplianceRow).where(ApplianceRow.public_id == public_id)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no appliance {public_id}.")
    return follow_merges(session, row)


def _specimen(session: Session, public_id: str, tester: Tester) -> SpecimenRow:
    row = session.execute(
        select(SpecimenRow).where(SpecimenRow.public_id == public_id)
    ).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no specimen {public_id}.")
    if row.owner_id != tester.id:
        raise NotAllowed("This specimen is another tester's; describe your own piece.")
    return row


def _rig(session: Session, public_id: str, tester: Tester) -> RigRevisionRow:
    row = session.execute(select(RigRow).where(RigRow.public_id == public_id)).scalar_one_or_none()
    if row is None:
        raise NotFound(f"There is no rig {public_id}.")
    if row.owner_id != tester.id:
        raise NotAllowed("This rig is another tester's; describe your own.")
    return current_rig(session, rig_id=row.id)
