"""Make one appliance of two that were noted twice; what belongs to the one moves to the other."""

from collections.abc import Sequence
from dataclasses import dataclass, field

from sqlalchemy import func, select, update
from sqlalchemy.orm import Session

from server.actions.decide_run import check_reason
from server.actions.may_moderate import check_may_moderate
from server.errors import Conflict, InvalidInput, Problem
from server.model.views import Tester
from server.store import tables as t
from server.store.appliances import find_appliance_row
from server.store.identity import content_sha256
from server.store.journal import by, now, record
from server.store.listing import lock_appliance, rewrite_listing
from server.store.matching import current_plate
from server.store.shapes import plate_of, plate_values


@dataclass(frozen=True, slots=True)
class MergePreview:
    """What would move, by public ids, and what stays because the other has the same.

    `stamp` changes with either: a merge is refused where it is not what was previewed.
    """

    source: str
    target: str
    runs: tuple[str, ...]
    specimens: tuple[str, ...]
    claims: tuple[str, ...]
    same_claims: tuple[str, ...]
    plates: tuple[int, ...]
    n_concerns: int
    stamp: str = field(default="")


def preview_merge(
    session: Session, *, source_id: str, target_id: str, maintainer: Tester
) -> MergePreview:
    """What merging `source` into `target` would move. Nothing is changed.

    Raises
    ------
    NotFound: no such appliance. NotAllowed: added by the maintainer, or a maker they have ties
        with. Conflict: one of them was merged already. InvalidInput: it is one and the same.
    """
    source, target = _pair(session, source_id, target_id, maintainer)
    return _preview(session, source, target)


def merge_appliances(
    session: Session,
    *,
    source_id: str,
    target_id: str,
    stamp: str,
    reason: str,
    maintainer: Tester,
) -> None:
    """Merge one appliance into another: its address leads there from now on.

    Runs, specimens, claims, plate revisions and open reports move. A claim the target has too stays
    behind, its answers and reports move to the target's. The target's current plate stays the
    current one. The journal of both says what was where.

    Parameters
    ----------
    stamp : of the preview.

    Raises
    ------
    As `preview_merge`; Conflict also where either changed since the preview.
    InvalidInput: no reason.
    """
    for own_id in sorted({source_id, target_id}):
        lock_appliance(session, appliance_id=find_appliance_row(session, public_id=own_id).id)
    source, target = _pair(session, source_id, target_id, maintainer)
    check_reason(reason, "A merge needs its reason.")
    plan = _preview(session, source, target)
    if plan.stamp != stamp:
        raise Conflict("One of the two changed since the preview. Look at it again.")
    _move(session, source, target)
    _move_claims(session, source, target)
    _move_plates(session, source, target, maintainer=maintainer)
    source.merged_into_id = target.id
    session.flush()
    _note(session, source, target, plan, maintainer=maintainer, reason=reason.strip())
    rewrite_listing(session, appliance_id=source.id)
    rewrite_listing(session, appliance_id=target.id)


def _pair(
    session: Session, source_id: str, target_id: str, maintainer: Tester
) -> tuple[t.ApplianceRow, t.ApplianceRow]:
    source = find_appliance_row(session, public_id=source_id)
    target = find_appliance_row(session, public_id=target_id)
    check_may_moderate(
        session, maintainer=maintainer, maker_keys={source.maker_key, target.maker_key}
    )
    if source.id == target.id:
        problem = Problem("it is one and the same.", "Name two.", field="into")
        raise InvalidInput("merge", [problem])
    for one in (source, target):
        if one.merged_into_id is not None:
            raise Conflict(f"{one.maker} {one.model} was merged into another already.")
    return source, target


def _preview(session: Session, source: t.ApplianceRow, target: t.ApplianceRow) -> MergePreview:
    claims = _claims(session, source)
    known = {_said(one) for one in _claims(session, target)}
    plates = tuple(
        session.scalars(
            select(t.PlateRevisionRow.number)
            .where(t.PlateRevisionRow.appliance_id == source.id)
            .order_by(t.PlateRevisionRow.number)
        )
    )
    runs = _ids(session, t.RunRow, source)
    specimens = _ids(session, t.SpecimenRow, source)
    n_concerns = session.execute(
        select(func.count()).select_from(t.ConcernRow).where(t.ConcernRow.appliance_id == source.id)
    ).scalar_one()
    at_target = current_plate(session, appliance_id=target.id)
    stamp = content_sha256(
        [runs, specimens, [_said(c) for c in claims], sorted(map(str, known)), plates, n_concerns,
         at_target.number if at_target is not None else 0]
    )  # fmt: skip
    return MergePreview(
        source=source.public_id,
        target=target.public_id,
        runs=runs,
        specimens=specimens,
        claims=tuple(c.public_id for c in claims if _said(c) not in known),
        same_claims=tuple(c.public_id for c in claims if _said(c) in known),
        plates=plates,
        n_concerns=n_concerns,
        stamp=stamp[:16],
    )


def _ids(
    session: Session, table: type[t.RunRow] | type[t.SpecimenRow], source: t.ApplianceRow
) -> tuple[str, ...]:
    found = session.scalars(
        select(table.public_id).where(table.appliance_id == source.id).order_by(table.id)
    )
    return tuple(found)


def _claims(session: Session, appliance: t.ApplianceRow) -> Sequence[t.ClaimRow]:
    return session.scalars(
        select(t.ClaimRow).where(t.ClaimRow.appliance_id == appliance.id).order_by(t.ClaimRow.id)
    ).all()


def _said(claim: t.ClaimRow) -> tuple[str, float, str]:
    return claim.quantity, claim.value_si, claim.wording


def _move(session: Session, source: t.ApplianceRow, target: t.ApplianceRow) -> None:
    for table in (t.RunRow, t.SpecimenRow, t.ConcernRow):
        session.execute(
            update(table)
            .where(table.appliance_id == source.id)
            .values(appliance_id=target.id)
            .execution_options(synchronize_session="fetch")
        )


def _move_claims(session: Session, source: t.ApplianceRow, target: t.ApplianceRow) -> None:
    known = {_said(one): one.id for one in _claims(session, target)}
    for claim in _claims(session, source):
        same = known.get(_said(claim))
        if same is None:
            claim.appliance_id = target.id
            continue
        for table in (t.StatementRow, t.ConcernRow):
            session.execute(update(table).where(table.claim_id == claim.id).values(claim_id=same))


def _move_plates(
    session: Session, source: t.ApplianceRow, target: t.ApplianceRow, *, maintainer: Tester
) -> None:
    """After the target's own numbers; then its current plate once more, to stay the current one."""
    before = current_plate(session, appliance_id=target.id)
    number = before.number if before is not None else 0
    moving = session.scalars(
        select(t.PlateRevisionRow)
        .where(t.PlateRevisionRow.appliance_id == source.id)
        .order_by(t.PlateRevisionRow.number)
    ).all()
    for plate in moving:
        number += 1
        plate.appliance_id, plate.number = target.id, number
    session.flush()
    if before is None or not moving or moving[-1].content_sha256 == before.content_sha256:
        return
    session.add(
        t.PlateRevisionRow(
            appliance_id=target.id,
            number=number + 1,
            content_sha256=before.content_sha256,
            created_by_id=maintainer.id,
            created_at=now(),
            **plate_values(plate_of(before)),
        )
    )


def _note(
    session: Session,
    source: t.ApplianceRow,
    target: t.ApplianceRow,
    plan: MergePreview,
    *,
    maintainer: Tester,
    reason: str,
) -> None:
    """Enough to put everything back by hand."""
    was = {
        "runs": list(plan.runs),
        "specimens": list(plan.specimens),
        "claims": list(plan.claims),
        "same_claims": list(plan.same_claims),
        "plates": list(plan.plates),
        "of": source.public_id,
    }
    for row, after in (
        (source, {"into": target.public_id}),
        (target, {"from": source.public_id, "n_runs": len(plan.runs)}),
    ):
        record(
            session,
            actor=by(maintainer),
            act="appliance merged",
            subject_kind="appliance",
            subject_id=row.id,
            before=was,
            after=after,
            note=reason,
        )
