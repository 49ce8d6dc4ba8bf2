"""A run as a maintainer decides on it: its figures, its tester's record, what was said of it."""

from sqlalchemy import exists, func, select
from sqlalchemy.orm import Session, aliased

from server.actions.assignment import assignment_of
from server.actions.may_moderate import why_not
from server.actions.standing import has_good_standing, has_second_factor
from server.actions.view_run import view_run
from server.errors import NotFound
from server.model.moderation import RunCase
from server.model.people import ConcernState
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.model.words import RunState
from server.store import tables as t
from server.store.concerns import concerns_of_run
from server.store.remarks import last_decision, remarks_of
from server.store.tester_record import tester_record


def view_case(
    session: Session, *, public_id: str, maintainer: Tester, rule: PublishingRule
) -> RunCase:
    """All that the desk shows of a run.

    Parameters
    ----------
    rule : by which the tester's standing is told.

    Returns
    -------
    RunCase; `barred` says why this maintainer may not decide on it, None where they may.

    Raises
    ------
    NotFound: no such run.
    """
    row = session.execute(
        select(t.RunRow, t.ApplianceRow.maker_key)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
        .where(t.RunRow.public_id == public_id)
    ).first()
    if row is None:
        raise NotFound(f"There is no run {public_id}.")
    run: t.RunRow = row.RunRow
    mine, newest = _plates(session, run)
    return RunCase(
        view=view_run(session, public_id=public_id, viewer=maintainer),
        version=run.version,
        not_before=run.not_before,
        accepted_at=run.accepted_at,
        needs_look=run.needs_look,
        is_first=not _has_other_published(session, run),
        plate_number=mine,
        current_plate_number=newest,
        assigned=assignment_of(session, case=run, maintainer=maintainer),
        barred=why_not(
            session,
            maintainer=maintainer,
            maker_keys={row.maker_key},
            owner_ids={run.tester_id},
            run_id=run.id,
        ),
        record=tester_record(
            session,
            tester_id=run.tester_id,
            days=rule.standing_days,
            is_in_standing=has_good_standing(session, tester_id=run.tester_id, rule=rule),
            has_second_factor=has_second_factor(session, tester_id=run.tester_id),
        ),
        remarks=remarks_of(session, run_id=public_id, only_current=False),
        concerns=concerns_of_run(session, run_id=public_id, state=ConcernState.OPEN),
        decided=last_decision(session, run_id=run.id),
        n_revisions=_n_revisions(session, run),
    )


def _has_other_published(session: Session, run: t.RunRow) -> bool:
    other = aliased(t.RunRow)
    found = exists().where(
        other.appliance_id == run.appliance_id,
        other.state == RunState.PUBLISHED,
        other.id != run.id,
    )
    return bool(session.execute(select(found)).scalar_one())


def _plates(session: Session, run: t.RunRow) -> tuple[int, int]:
    """The number of the plate revision the run was made with, and the appliance's newest."""
    plate = t.PlateRevisionRow
    mine = session.execute(
        select(plate.number)
        .join(t.RunRevisionRow, t.RunRevisionRow.plate_revision_id == plate.id)
        .where(t.RunRevisionRow.id == run.current_revision_id)
    ).scalar_one()
    newest = session.execute(
        select(func.max(plate.number)).where(plate.appliance_id == run.appliance_id)
    ).scalar_one()
    return mine, newest or mine


def _n_revisions(session: Session, run: t.RunRow) -> int:
    return session.execute(
        select(func.count()).select_from(t.RunRevisionRow).where(t.RunRevisionRow.run_id == run.id)
    ).scalar_one()
