"""Concerns: problems reported, returns contested, notices, requests."""

from typing import Any

from sqlalchemy import Select, func, select
from sqlalchemy.orm import Session, aliased

from server.errors import NotFound
from server.model.moderation import TAKEN_FOR, Assignment, ConcernView
from server.model.people import ConcernKind, ConcernState
from server.model.views import Tester
from server.store import tables as t
from server.store.journal import now

MAX_SHOWN = 100
_WRITER, _DECIDER, _HOLDER = aliased(t.TesterRow), aliased(t.TesterRow), aliased(t.TesterRow)
_SAID, _CONTACT, _ANSWER = (
    aliased(t.PersonTextRow),
    aliased(t.PersonTextRow),
    aliased(t.PersonTextRow),
)

# Built once: putting it together anew costs more than running it.
_CONCERNS: Select[*tuple[Any, ...]] = (
    select(
        t.ConcernRow,
        t.ApplianceRow.public_id.label("appliance_id"),
        t.ApplianceRow.slug,
        t.ApplianceRow.maker,
        t.ApplianceRow.model,
        t.RunRow.public_id.label("run_id"),
        t.ClaimRow.public_id.label("claim_id"),
        _SAID.text.label("said"),
        _CONTACT.text.label("contact"),
        _ANSWER.text.label("answer"),
        _WRITER.name.label("by"),
        _DECIDER.name.label("decided_by"),
        _HOLDER.name.label("holder"),
    )
    .join(_SAID, _SAID.id == t.ConcernRow.text_id)
    .outerjoin(_CONTACT, _CONTACT.id == t.ConcernRow.contact_id)
    .outerjoin(_ANSWER, _ANSWER.id == t.ConcernRow.answer_id)
    .outerjoin(t.ApplianceRow, t.ApplianceRow.id == t.ConcernRow.appliance_id)
    .outerjoin(t.RunRow, t.RunRow.id == t.ConcernRow.run_id)
    .outerjoin(t.ClaimRow, t.ClaimRow.id == t.ConcernRow.claim_id)
    .outerjoin(_WRITER, _WRITER.id == t.ConcernRow.by_id)
    .outerjoin(_DECIDER, _DECIDER.id == t.ConcernRow.decided_by_id)
    .outerjoin(_HOLDER, _HOLDER.id == t.ConcernRow.assigned_to_id)
)


def concern_view(session: Session, *, public_id: str, viewer: Tester | None = None) -> ConcernView:
    """One concern. Its address is known to who wrote it and to maintainers. Raises NotFound."""
    row = session.execute(_CONCERNS.where(t.ConcernRow.public_id == public_id)).first()
    if row is None:
        raise NotFound(f"There is no report {public_id}.")
    return _view(row, viewer)


def concerns_of_run(
    session: Session, *, run_id: str, state: ConcernState | None = None
) -> tuple[ConcernView, ...]:
    """What was said of a run (public id), oldest first. Whoever asks: that is the caller's."""
    query = _CONCERNS.where(t.RunRow.public_id == run_id)
    if state is not None:
        query = query.where(t.ConcernRow.state == state.value)
    rows = session.execute(query.order_by(t.ConcernRow.id).limit(MAX_SHOWN))
    return tuple(_view(row, None) for row in rows)


def contests_of_run(session: Session, *, run_id: str) -> tuple[ConcernView, ...]:
    """The contests of a run's returns, for its tester, oldest first."""
    rows = session.execute(
        _CONCERNS.where(
            t.RunRow.public_id == run_id, t.ConcernRow.kind == ConcernKind.CONTEST.value
        ).order_by(t.ConcernRow.id)
    )
    return tuple(_view(row, None) for row in rows)


def requests_of(session: Session, *, appliance_id: str) -> dict[str, int]:
    """What readers ask to have tested about an appliance (public id): the wish and how many."""
    concern = t.ConcernRow
    rows = session.execute(
        select(concern.figure, func.count())
        .join(t.ApplianceRow, t.ApplianceRow.id == concern.appliance_id)
        .where(
            t.ApplianceRow.public_id == appliance_id,
            concern.kind == ConcernKind.REQUEST.value,
            concern.state == ConcernState.OPEN.value,
        )
        .group_by(concern.figure)
        .order_by(func.count().desc(), concern.figure)
    )
    return {figure: n for figure, n in rows if figure is not None}


def _view(row: Any, viewer: Tester | None) -> ConcernView:
    own: t.ConcernRow = row.ConcernRow
    held = None
    if own.assigned_at is not None and own.assigned_at + TAKEN_FOR > now():
        is_own = viewer is not None and own.assigned_to_id == viewer.id
        held = Assignment(row.holder, is_own, own.assigned_at + TAKEN_FOR)
    return ConcernView(
        public_id=own.public_id,
        kind=ConcernKind(own.kind),
        state=ConcernState(own.state),
        figure=own.figure,
        appliance_id=row.appliance_id,
        appliance_slug=row.slug,
        appliance=f"{row.maker} {row.model}" if row.maker is not None else None,
        run_id=row.run_id,
        claim_id=row.claim_id,
        text=row.said,
        contact=row.contact,
        by=row.by,
        answer=row.answer,
        decided_by=row.decided_by,
        created_at=own.created_at,
        decided_at=own.decided_at,
        version=own.version,
        assigned=held,
    )
