"""Answers to claims, and the makers' mail domains."""

from dataclasses import dataclass
from typing import Any

from sqlalchemy import Select, select
from sqlalchemy.orm import Session, aliased

from server.errors import Moved, NotFound
from server.model.bench import Claim
from server.model.moderation import StatementView
from server.model.people import StatementKind
from server.store import tables as t
from server.store.matching import follow_merges
from server.store.shapes import claim_of

_REASON = aliased(t.PersonTextRow)
_STATEMENTS: Select[*tuple[Any, ...]] = (
    select(
        t.StatementRow,
        t.ClaimRow.public_id.label("claim_id"),
        t.ApplianceRow.maker,
        t.PersonTextRow.text.label("said"),
        _REASON.text.label("reason"),
        t.TesterRow.name,
    )
    .join(t.ClaimRow, t.ClaimRow.id == t.StatementRow.claim_id)
    .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
    .join(t.PersonTextRow, t.PersonTextRow.id == t.StatementRow.text_id)
    .join(t.TesterRow, t.TesterRow.id == t.StatementRow.by_id)
    .outerjoin(_REASON, _REASON.id == t.StatementRow.reason_id)
)


@dataclass(frozen=True, slots=True)
class ClaimPlace:
    """A claim with its id and the appliance it is printed about."""

    public_id: str
    claim: Claim
    maker: str
    maker_key: str
    name: str
    appliance_path: str


@dataclass(frozen=True, slots=True)
class MakerDomain:
    maker: str
    domain: str
    set_by: str


def statements_of(
    session: Session, *, appliance_id: str | None = None, claim_id: str | None = None
) -> tuple[StatementView, ...]:
    """The answers to an appliance's claims or to one claim (public ids), oldest first; removed
    ones too, which say so and whose text is not to be shown."""
    query = _STATEMENTS
    if claim_id is not None:
        query = query.where(t.ClaimRow.public_id == claim_id)
    if appliance_id is not None:
        query = query.where(t.ApplianceRow.public_id == appliance_id)
    rows = session.execute(query.order_by(t.StatementRow.id).limit(200))
    return tuple(_view(row) for row in rows)


def statement_view(session: Session, *, public_id: str) -> StatementView:
    """One answer. Raises NotFound."""
    row = session.execute(_STATEMENTS.where(t.StatementRow.public_id == public_id)).first()
    if row is None:
        raise NotFound(f"There is no answer {public_id[:20]}.")
    return _view(row)


def claim_place(session: Session, *, public_id: str) -> ClaimPlace:
    """A claim and where it belongs. Raises NotFound."""
    row = session.execute(
        select(t.ClaimRow, t.ApplianceRow)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
        .where(t.ClaimRow.public_id == public_id)
    ).first()
    if row is None:
        raise NotFound(f"There is no claim {public_id[:20]}.")
    appliance: t.ApplianceRow = row.ApplianceRow
    if appliance.merged_into_id is not None:
        # The same words stand at the appliance it was merged into.
        target = follow_merges(session, appliance)
        raise Moved(f"/appliances/{target.public_id}-{target.slug}")
    return ClaimPlace(
        public_id=public_id,
        claim=claim_of(row.ClaimRow),
        maker=appliance.maker,
        maker_key=appliance.maker_key,
        name=f"{appliance.maker} {appliance.model}",
        appliance_path=f"/appliances/{appliance.public_id}-{appliance.slug}",
    )


def claim_ids(session: Session, *, appliance_id: str) -> dict[Claim, str]:
    """The ids of an appliance's claims, by what they say."""
    rows = session.scalars(
        select(t.ClaimRow)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
        .where(t.ApplianceRow.public_id == appliance_id)
    )
    return {claim_of(row): row.public_id for row in rows}


def maker_domains(session: Session) -> tuple[MakerDomain, ...]:
    """Every mail domain that was set, by maker."""
    own = t.MakerDomainRow
    rows = session.execute(
        select(own.maker_key, own.domain, t.TesterRow.name)
        .join(t.TesterRow, t.TesterRow.id == own.set_by_id)
        .order_by(own.maker_key, own.domain)
    ).all()
    spelled = session.execute(
        select(t.ApplianceRow.maker_key, t.ApplianceRow.maker).where(
            t.ApplianceRow.maker_key.in_([row.maker_key for row in rows])
        )
    )
    names = {row.maker_key: row.maker for row in spelled}
    return tuple(MakerDomain(names.get(r.maker_key, r.maker_key), r.domain, r.name) for r in rows)


def maker_names(session: Session) -> tuple[str, ...]:
    """Every maker's name, once."""
    found = session.scalars(select(t.ApplianceRow.maker).distinct().order_by(t.ApplianceRow.maker))
    return tuple(found)


def _view(row: Any) -> StatementView:
    own: t.StatementRow = row.StatementRow
    return StatementView(
        public_id=own.public_id,
        claim_id=row.claim_id,
        kind=StatementKind(own.kind),
        text=row.said,
        source=own.source,
        stated_on=own.stated_on,
        by=row.name,
        maker=row.maker,
        created_at=own.created_at,
        removed_at=own.removed_at,
        reason=row.reason,
    )
