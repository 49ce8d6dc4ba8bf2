"""What a report is about, by name."""

from dataclasses import dataclass

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.errors import NotFound
from server.model.views import Tester
from server.store import tables as t
from server.store.runs import visible

MAX_CHOICES = 2000


@dataclass(frozen=True, slots=True)
class SubjectNamed:
    """`kind`: run, claim or appliance."""

    kind: str
    text: str
    path: str


def subject_named(
    session: Session,
    *,
    run_id: str | None = None,
    appliance_id: str | None = None,
    claim_id: str | None = None,
    viewer: Tester | None,
) -> SubjectNamed:
    """The run, claim or appliance of a public id. Raises NotFound."""
    appliance = t.ApplianceRow
    if run_id is not None:
        run = session.execute(
            select(appliance.maker, appliance.model, t.TesterRow.name)
            .join(t.RunRow, t.RunRow.appliance_id == appliance.id)
            .join(t.TesterRow, t.TesterRow.id == t.RunRow.tester_id)
            .where(t.RunRow.public_id == run_id, visible(viewer))
        ).first()
        if run is not None:
            text = f"a run of {run.maker} {run.model} by {run.name}"
            return SubjectNamed("run", text, f"/runs/{run_id}")
    elif claim_id is not None:
        claim = session.execute(
            select(appliance.maker, appliance.model, t.ClaimRow.wording)
            .join(t.ClaimRow, t.ClaimRow.appliance_id == appliance.id)
            .where(t.ClaimRow.public_id == claim_id)
        ).first()
        if claim is not None:
            text = f"“{claim.wording}”, printed about {claim.maker} {claim.model}"
            return SubjectNamed("claim", text, f"/claims/{claim_id}")
    elif appliance_id is not None:
        row = session.execute(
            select(appliance).where(appliance.public_id == appliance_id)
        ).scalar_one_or_none()
        if row is not None:
            path = f"/appliances/{row.public_id}-{row.slug}"
            return SubjectNamed("appliance", f"{row.maker} {row.model}", path)
    raise NotFound("What this is about is not there, or not for you to see.")


def appliance_choices(session: Session) -> tuple[tuple[str, str], ...]:
    """Every appliance that was not merged away: public id and name, for a choice."""
    appliance = t.ApplianceRow
    rows = session.execute(
        select(appliance.public_id, appliance.maker, appliance.model)
        .where(appliance.merged_into_id.is_(None))
        .order_by(appliance.maker_key, appliance.model_key)
        .limit(MAX_CHOICES)
    )
    return tuple((row.public_id, f"{row.maker} {row.model}") for row in rows)
