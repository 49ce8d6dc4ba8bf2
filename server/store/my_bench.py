"""What others said of a tester's runs: maintainers' remarks, readers' reports and wishes."""

from collections import defaultdict
from collections.abc import Sequence

from sqlalchemy import func, or_, select
from sqlalchemy.orm import Session, aliased

from server.model.my_bench import CALIBRATION_MONTHS, Asked, RemarkOnRun, Watched
from server.model.people import ConcernKind, ConcernState
from server.store import tables as t
from server.store.live import own_live_tests

MAX_SHOWN = 100
_OF_READERS = (ConcernKind.PROBLEM.value, ConcernKind.REQUEST.value)


def remarks_on_runs(session: Session, *, tester_id: int) -> dict[str, tuple[RemarkOnRun, ...]]:
    """Remarks on a tester's runs as they stand now, by the run's id. One statement."""
    rows = session.execute(
        select(t.RunRow.public_id, t.RemarkRow.field, t.PersonTextRow.text, t.RemarkRow.created_at)
        .join(t.RemarkRow, t.RemarkRow.run_revision_id == t.RunRow.current_revision_id)
        .join(t.PersonTextRow, t.PersonTextRow.id == t.RemarkRow.text_id)
        .where(t.RunRow.tester_id == tester_id)
        .order_by(t.RemarkRow.id)
    )
    found: dict[str, list[RemarkOnRun]] = defaultdict(list)
    for run_id, field, text, at in rows:
        found[run_id].append(RemarkOnRun(field, text, at))
    return {run_id: tuple(remarks) for run_id, remarks in found.items()}


def asked_about(session: Session, *, tester_id: int) -> tuple[Asked, ...]:
    """Reports and wishes about a tester's runs, or about appliances that have runs of theirs.

    Open ones first, the newest first among them. One statement.
    """
    concern, run, answer = t.ConcernRow, t.RunRow, aliased(t.PersonTextRow)
    own = select(t.RunRow.appliance_id).where(t.RunRow.tester_id == tester_id)
    rows = session.execute(
        select(concern, t.PersonTextRow.text, answer.text, t.ApplianceRow, run.public_id)
        .join(t.PersonTextRow, t.PersonTextRow.id == concern.text_id)
        .outerjoin(answer, answer.id == concern.answer_id)
        .outerjoin(run, run.id == concern.run_id)
        .outerjoin(
            t.ApplianceRow,
            t.ApplianceRow.id == func.coalesce(concern.appliance_id, run.appliance_id),
        )
        .where(
            concern.kind.in_(_OF_READERS),
            or_(
                run.tester_id == tester_id,
                concern.run_id.is_(None) & concern.appliance_id.in_(own),
            ),
        )
        .order_by(concern.state != ConcernState.OPEN.value, concern.id.desc())
        .limit(MAX_SHOWN)
    )
    return tuple(
        Asked(
            public_id=row.public_id,
            kind=ConcernKind(row.kind),
            state=ConcernState(row.state),
            text=text,
            answer=answered,
            appliance_id=None if of is None else of.public_id,
            appliance_slug=None if of is None else of.slug,
            appliance_name=None if of is None else f"{of.maker} {of.model}",
            run_id=run_id,
            created_at=row.created_at,
        )
        for row, text, answered, of, run_id in rows
    )


def calibration_interval(session: Session, *, tester_id: int) -> int:
    """Months from one calibration to the next, as the tester set them, else the usual ones."""
    chosen = select(t.TesterRow.calibration_months).where(t.TesterRow.id == tester_id)
    return session.execute(chosen).scalar_one() or CALIBRATION_MONTHS


def watched_tests(session: Session, *, tester_id: int) -> tuple[Watched, ...]:
    return tuple(
        Watched(row.address, row.title, row.started_at, row.ended_at, row.expires_at)
        for row in own_live_tests(session, tester_id=tester_id)
    )


def surviving_ids(session: Session, *, public_ids: Sequence[str]) -> dict[str, str]:
    """Of each appliance the one it was merged into, itself where it was not. One statement."""
    appliance, into = t.ApplianceRow, aliased(t.ApplianceRow)
    rows = session.execute(
        select(appliance.public_id, into.public_id)
        .outerjoin(into, into.id == appliance.merged_into_id)
        .where(appliance.public_id.in_(public_ids))
    )
    return {old: new or old for old, new in rows}
