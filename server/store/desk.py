"""The queue of the desk: what waits for a maintainer, in the order it needs attention."""

from collections.abc import Sequence
from typing import Any

from sqlalchemy import (
    ColumnElement,
    Select,
    Text,
    case,
    exists,
    func,
    literal_column,
    or_,
    select,
    tuple_,
    union_all,
)
from sqlalchemy.orm import Session, aliased

from server.model.moderation import (
    RANKS,
    TAKEN_FOR,
    Counted,
    DeskFilter,
    DeskItem,
    DeskKind,
    DeskState,
)
from server.model.people import ConcernKind, ConcernState, StatementKind
from server.model.views import Page, Tester
from server.model.words import JobState, RunState, Severity
from server.store import tables as t
from server.store.cursor import read_cursor, read_time, write_cursor
from server.store.desk_items import load_items
from server.store.journal import now

MAX_PAGE = 200
_RUN_STATES = {
    DeskState.RETURNED: RunState.RETURNED,
    DeskState.FAILED: RunState.FAILED,
    DeskState.WITHDRAWN: RunState.WITHDRAWN,
}
_KIND_OF_CONCERN = {
    ConcernKind.CONTEST: DeskKind.CONTEST,
    ConcernKind.NOTICE: DeskKind.NOTICE,
    ConcernKind.PROBLEM: DeskKind.PROBLEM,
    ConcernKind.REQUEST: DeskKind.REQUEST,
}


def desk_queue(session: Session, *, viewer: Tester, filters: DeskFilter) -> Page[DeskItem]:
    """A page of what waits, what needs attention first in front; decided things newest first.

    The number of statements does not grow with the page.
    """
    rows = _queue(viewer, filters).subquery()
    is_open = filters.state is DeskState.OPEN
    # Rank, then the oldest; what was decided has one rank and the newest first.
    order = tuple_(rows.c.rank, rows.c.at, rows.c.source, rows.c.key)
    limit = min(max(filters.limit, 1), MAX_PAGE)
    query = select(rows)
    if filters.kind is not None:
        query = query.where(rows.c.kind == filters.kind.value)
    if filters.cursor is not None:
        rank, at, source, key = read_cursor(filters.cursor, int, str, str, int)
        last = tuple_(rank, read_time(at), source, key)
        query = query.where(order > last if is_open else order < last)
    columns = (rows.c.rank, rows.c.at, rows.c.source, rows.c.key)
    query = query.order_by(*(one if is_open else one.desc() for one in columns)).limit(limit + 1)
    found = session.execute(query).all()
    following = None
    if len(found) > limit:
        end = found[limit - 1]
        following = write_cursor(end.rank, end.at.isoformat(), end.source, end.key)
    return Page(load_items(session, rows=found[:limit], viewer=viewer), following)


def desk_counts(session: Session, *, viewer: Tester) -> Counted:
    """How many open things wait, by kind, and how many of them the viewer has taken."""
    rows = _queue(viewer, DeskFilter()).subquery()
    counted = {
        DeskKind(kind): n
        for kind, n in session.execute(select(rows.c.kind, func.count()).group_by(rows.c.kind))
    }
    mine = _queue(viewer, DeskFilter(is_mine=True)).subquery()
    n_mine = session.execute(select(func.count()).select_from(mine)).scalar_one()
    return Counted({kind: counted.get(kind, 0) for kind in DeskKind}, n_mine)


def desk_categories(session: Session) -> tuple[str, ...]:
    """The categories of all appliances, for the filter."""
    found = session.execute(
        select(t.ApplianceRow.category).distinct().order_by(t.ApplianceRow.category)
    )
    return tuple(found.scalars())


def next_open(session: Session, *, viewer: Tester, after: Sequence[str] = ()) -> DeskItem | None:
    """The first open thing that the viewer may decide and nobody else has; none of `after`."""
    page = desk_queue(session, viewer=viewer, filters=DeskFilter(limit=MAX_PAGE))
    for item in page.items:
        if item.public_id not in after and not item.is_barred and not item.is_held_by_other:
            return item
    return None


def _queue(viewer: Tester, filters: DeskFilter) -> Any:
    parts: list[Select[*tuple[Any, ...]]] = []
    run, concern = t.RunRow, t.ConcernRow
    if filters.state is DeskState.OPEN and filters.is_mine:
        parts = [
            _taken_by(viewer, _waiting(), run),
            _taken_by(viewer, _to_look_at(), run),
            _taken_by(viewer, _concerns(ConcernState.OPEN), concern),
        ]
    elif filters.state is DeskState.OPEN:
        parts = [_waiting(), _to_look_at(), _concerns(ConcernState.OPEN), _parked(), _statements()]
    elif filters.state is DeskState.SETTLED:
        parts = [_concerns(ConcernState.SETTLED)]
    elif filters.state is DeskState.ACCEPTED:
        parts = [_decided(t.RunRow.accepted_at.is_not(None), RunState.WAITING)]
    else:
        parts = [_decided(None, _RUN_STATES[filters.state])]
    if filters.category is not None:
        parts = [one.where(t.ApplianceRow.category == filters.category) for one in parts]
    return union_all(*parts)


def _taken_by(
    viewer: Tester,
    part: Select[*tuple[Any, ...]],
    table: type[t.RunRow] | type[t.ConcernRow],
) -> Select[*tuple[Any, ...]]:
    return part.where(table.assigned_to_id == viewer.id, table.assigned_at > now() - TAKEN_FOR)


def _row(
    rank: ColumnElement[Any], kind: Any, source: str, at: Any, key: Any
) -> Select[*tuple[Any, ...]]:
    return select(
        rank.label("rank"),
        kind.label("kind"),
        literal_column(f"'{source}'", Text).label("source"),
        at.label("at"),
        key.label("key"),
    )


def _rank(kind: DeskKind) -> ColumnElement[Any]:
    return literal_column(str(RANKS[kind]))


def _word(kind: DeskKind) -> ColumnElement[Any]:
    return literal_column(f"'{kind.value}'", Text)


def _waiting() -> Select[*tuple[Any, ...]]:
    run, finding, other = t.RunRow, t.FindingRow, aliased(t.RunRow)
    is_held = exists().where(
        finding.metric_set_id == run.current_set_id, finding.severity == Severity.ERROR.value
    )
    has_published = exists().where(
        other.appliance_id == run.appliance_id, other.state == RunState.PUBLISHED
    )
    held, first, waiting = DeskKind.HELD, DeskKind.FIRST, DeskKind.WAITING
    rank = case((is_held, _rank(held)), (~has_published, _rank(first)), else_=_rank(waiting))
    kind = case((is_held, _word(held)), (~has_published, _word(first)), else_=_word(waiting))
    return (
        _row(rank, kind, "run", run.updated_at, run.id)
        .join(t.ApplianceRow, t.ApplianceRow.id == run.appliance_id)
        .where(run.state == RunState.WAITING, run.accepted_at.is_(None))
    )


def _to_look_at() -> Select[*tuple[Any, ...]]:
    run, look = t.RunRow, DeskKind.LOOK
    return (
        _row(_rank(look), _word(look), "run", run.updated_at, run.id)
        .join(t.ApplianceRow, t.ApplianceRow.id == run.appliance_id)
        .where(run.needs_look, run.state == RunState.PUBLISHED)
    )


def _decided(also: ColumnElement[bool] | None, state: RunState) -> Select[*tuple[Any, ...]]:
    run, word = t.RunRow, DeskKind.WAITING
    query = (
        _row(_rank(word), _word(word), "run", run.updated_at, run.id)
        .join(t.ApplianceRow, t.ApplianceRow.id == run.appliance_id)
        .where(run.state == state)
    )
    return query if also is None else query.where(also)


def _concerns(state: ConcernState) -> Select[*tuple[Any, ...]]:
    concern = t.ConcernRow
    rank: ColumnElement[Any] = case(
        *(
            (concern.kind == kind.value, _rank(_KIND_OF_CONCERN[kind]))
            for kind in (ConcernKind.CONTEST, ConcernKind.NOTICE, ConcernKind.PROBLEM)
        ),
        else_=_rank(DeskKind.REQUEST),
    )
    if state is ConcernState.SETTLED:
        rank = _rank(DeskKind.PROBLEM)
    # A concern's kind is called the same on the desk.
    at = concern.decided_at if state is ConcernState.SETTLED else concern.created_at
    return (
        _row(rank, concern.kind, "concern", at, concern.id)
        .outerjoin(t.ApplianceRow, t.ApplianceRow.id == concern.appliance_id)
        .where(concern.state == state.value)
    )


def _parked() -> Select[*tuple[Any, ...]]:
    job, parked = t.JobRow, DeskKind.PARKED
    return (
        _row(_rank(parked), _word(parked), "job", job.updated_at, job.id)
        .outerjoin(t.RunRow, t.RunRow.id == job.run_id)
        .outerjoin(t.ApplianceRow, t.ApplianceRow.id == t.RunRow.appliance_id)
        .where(
            job.state == JobState.PARKED,
            # What was withdrawn needs no figures any more.
            or_(t.RunRow.state.is_(None), t.RunRow.state != RunState.WITHDRAWN),
        )
    )


def _statements() -> Select[*tuple[Any, ...]]:
    own, word = t.StatementRow, DeskKind.STATEMENT
    return (
        _row(_rank(word), _word(word), "statement", own.created_at, own.id)
        .join(t.ClaimRow, t.ClaimRow.id == own.claim_id)
        .join(t.ApplianceRow, t.ApplianceRow.id == t.ClaimRow.appliance_id)
        .where(
            own.kind == StatementKind.MAKER.value,
            own.removed_at.is_(None),
            own.looked_at.is_(None),
        )
    )
