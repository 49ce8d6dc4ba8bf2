"""Find what a bench describes among what is stored, or make it."""

from typing import Any

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.model.bench import Appliance, Claim, Plate, Rig, Specimen
from server.model.later_fields import without_later
from server.store.database import insert_if_absent
from server.store.identity import content_sha256, match_key, new_public_id, slug_of
from server.store.journal import Actor, now, record
from server.store.shapes import SPECIMEN_FIELDS, plate_values, rig_values
from server.store.tables import (
    ApplianceRow,
    ClaimRow,
    PlateRevisionRow,
    RigRevisionRow,
    RigRow,
    SpecimenRow,
)


def follow_merges(session: Session, row: ApplianceRow) -> ApplianceRow:
    """The appliance that this one was merged into, through any number of steps."""
    seen = {row.id}
    while row.merged_into_id is not None and row.merged_into_id not in seen:
        seen.add(row.merged_into_id)
        row = session.get_one(ApplianceRow, row.merged_into_id)
    return row


def find_appliance(session: Session, *, maker: str, model: str) -> ApplianceRow | None:
    """By maker and model, case folded; a merged one leads to where it went."""
    row = session.execute(
        select(ApplianceRow).where(
            ApplianceRow.maker_key == match_key(maker), ApplianceRow.model_key == match_key(model)
        )
    ).scalar_one_or_none()
    return None if row is None else follow_merges(session, row)


def appliance_for(
    session: Session, appliance: Appliance, *, actor: Actor
) -> tuple[ApplianceRow, bool]:
    """The appliance of that maker and model, made if new; with whether it was made."""
    values = {
        "public_id": new_public_id(),
        "slug": slug_of(appliance.maker, appliance.model),
        "maker": " ".join(appliance.maker.split()),
        "model": " ".join(appliance.model.split()),
        "maker_key": match_key(appliance.maker),
        "model_key": match_key(appliance.model),
        "category": match_key(appliance.category) or "other",
        "model_number": appliance.model_number,
        "market": appliance.market,
        "produced": appliance.produced,
        "created_by_id": actor.tester_id,
        "created_at": now(),
    }
    made = insert_if_absent(session, ApplianceRow, values, unique=("maker_key", "model_key"))
    row = find_appliance(session, maker=appliance.maker, model=appliance.model)
    if row is None:
        raise LookupError("an appliance that was just stored can't be read")
    if made:
        record(
            session,
            actor=actor,
            act="appliance added",
            subject_kind="appliance",
            subject_id=row.id,
            after={"public_id": row.public_id},
        )
    return row, made


def current_plate(session: Session, *, appliance_id: int) -> PlateRevisionRow | None:
    return session.execute(
        select(PlateRevisionRow)
        .where(PlateRevisionRow.appliance_id == appliance_id)
        .order_by(PlateRevisionRow.number.desc())
        .limit(1)
    ).scalar_one_or_none()


def plate_for(
    session: Session, plate: Plate, *, appliance_id: int, actor: Actor
) -> PlateRevisionRow:
    """The newest revision that says the same; a plate that says nothing means the current one;
    else a new revision."""
    current = current_plate(session, appliance_id=appliance_id)
    if current is not None and plate == Plate():
        return current
    sha256 = content_sha256(plate_values(plate))
    known = session.execute(
        select(PlateRevisionRow)
        .where(
            PlateRevisionRow.appliance_id == appliance_id, PlateRevisionRow.content_sha256 == sha256
        )
        .order_by(PlateRevisionRow.number.desc())
        .limit(1)
    ).scalar_one_or_none()
    return known or add_plate(session, plate, appliance_id=appliance_id, actor=actor)


def add_plate(
    session: Session, plate: Plate, *, appliance_id: int, actor: Actor
) -> PlateRevisionRow:
    current = current_plate(session, appliance_id=appliance_id)
    row = PlateRevisionRow(
        appliance_id=appliance_id,
        number=current.number + 1 if current is not None else 1,
        content_sha256=content_sha256(plate_values(plate)),
        created_by_id=actor.tester_id,
        created_at=now(),
        **plate_values(plate),
    )
    session.add(row)
    session.flush()
    if current is not None:
        record(
            session,
            actor=actor,
            act="plate revised",
            subject_kind="appliance",
            subject_id=appliance_id,
            before={"plate": current.number},
            after={"plate": row.number},
        )
    return row


def claim_for(
    session: Session, claim: Claim, *, appliance_id: int, actor: Actor
) -> tuple[ClaimRow, bool]:
    """The same printed figure with the same wording is one claim, however often it is sent."""
    values: dict[str, Any] = {
        "public_id": new_public_id(),
        "appliance_id": appliance_id,
        "quantity": claim.quantity,
        "value_si": claim.value_si,
        "wording": claim.wording,
        "value_typed": claim.value_typed,
        "where_printed": claim.where_printed,
        "footnote": claim.footnote,
        "seen_on": claim.seen_on,
        "created_by_id": actor.tester_id,
        "created_at": now(),
    }
    unique = ("appliance_id", "quantity", "value_si", "wording")
    made = insert_if_absent(session, ClaimRow, values, unique=unique)
    row = session.execute(
        select(ClaimRow).where(*(getattr(ClaimRow, name) == values[name] for name in unique))
    ).scalar_one()
    if made:
        record(
            session,
            actor=actor,
            act="claim added",
            subject_kind="appliance",
            subject_id=appliance_id,
            after={"claim": row.public_id},
        )
    return row, made


def specimen_for(
    session: Session, specimen: Specimen, *, appliance_id: int, tester_id: int
) -> SpecimenRow:
    """The same tester's piece that is described alike, else a new one."""
    same = [
        getattr(SpecimenRow, name).is_not_distinct_from(getattr(specimen, name))
        for name in SPECIMEN_FIELDS
    ]
    known = session.execute(
        select(SpecimenRow)
        .where(SpecimenRow.appliance_id == appliance_id, SpecimenRow.owner_id == tester_id, *same)
        .order_by(SpecimenRow.id)
        .limit(1)
    ).scalar_one_or_none()
    return known or add_specimen_row(
        session, specimen, appliance_id=appliance_id, tester_id=tester_id
    )


def add_specimen_row(
    session: Session, specimen: Specimen, *, appliance_id: int, tester_id: int
) -> SpecimenRow:
    row = SpecimenRow(
        public_id=new_public_id(),
        appliance_id=appliance_id,
        owner_id=tester_id,
        created_at=now(),
        **{name: getattr(specimen, name) for name in SPECIMEN_FIELDS},
    )
    session.add(row)
    session.flush()
    return row


def current_rig(session: Session, *, rig_id: int) -> RigRevisionRow:
    return session.execute(
        select(RigRevisionRow)
        .where(RigRevisionRow.rig_id == rig_id)
        .order_by(RigRevisionRow.number.desc())
        .limit(1)
    ).scalar_one()


def rig_sha256(rig: Rig) -> str:
    """Digest of what a rig's description says; what it leaves unsaid is not in it."""
    return content_sha256(without_later(rig_values(rig)))


def rig_for(session: Session, rig: Rig, *, actor: Actor) -> RigRevisionRow:
    """The tester's rig that says the same; one of the same name takes a new revision; else new."""
    own = (
        select(RigRevisionRow)
        .join(RigRow, RigRow.id == RigRevisionRow.rig_id)
        .where(RigRow.owner_id == actor.tester_id)
        .order_by(RigRevisionRow.id.desc())
        .limit(1)
    )
    sha256 = rig_sha256(rig)
    same = session.execute(own.where(RigRevisionRow.content_sha256 == sha256)).scalar_one_or_none()
    if same is not None:
        return same
    if rig.name is not None:
        named = own.where(func.lower(RigRevisionRow.name) == rig.name.lower())
        known = session.execute(named).scalar_one_or_none()
        if known is not None:
            return add_rig_revision(session, rig, rig_id=known.rig_id, actor=actor)
    return add_rig_row(session, rig, actor=actor)


def add_rig_row(session: Session, rig: Rig, *, actor: Actor) -> RigRevisionRow:
    row = RigRow(
        public_id=new_public_id(),
        owner_id=actor.tester_id,
        slug=slug_of(rig.name or "rig"),
        created_at=now(),
    )
    session.add(row)
    session.flush()
    return add_rig_revision(session, rig, rig_id=row.id, actor=actor)


def add_rig_revision(session: Session, rig: Rig, *, rig_id: int, actor: Actor) -> RigRevisionRow:
    last = session.execute(
        select(func.max(RigRevisionRow.number)).where(RigRevisionRow.rig_id == rig_id)
    ).scalar_one()
    row = RigRevisionRow(
        rig_id=rig_id,
        number=(last or 0) + 1,
        content_sha256=rig_sha256(rig),
        created_by_id=actor.tester_id,
        created_at=now(),
        **rig_values(rig),
    )
    session.add(row)
    session.flush()
    record(
        session,
        actor=actor,
        act="rig revised" if last else "rig added",
        subject_kind="rig",
        subject_id=rig_id,
        before={"revision": last} if last else None,
        after={"revision": row.number},
    )
    return row
