"""What people said of a run, as its page shows it: to its tester, to maintainers, to readers."""

from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy.orm import Session

from server.model.moderation import ConcernView
from server.model.people import MAINTAIN, ConcernState
from server.model.views import RunView, Tester
from server.model.words import RunState
from server.pages.remark_fields import RemarkShown, show_remarks
from server.store.concerns import contests_of_run
from server.store.remarks import remarks_of
from server.wording.counts import show_date


@dataclass(frozen=True, slots=True)
class ContestShown:
    day: str
    text: str
    answer: str


@dataclass(frozen=True, slots=True)
class RunPeople:
    """`contest_href`: where its tester contests a return; `desk_href`: for maintainers."""

    remarks: tuple[RemarkShown, ...] = ()
    contests: tuple[ContestShown, ...] = ()
    contest_href: str | None = None
    report_href: str | None = None
    desk_href: str | None = None


def run_people(session: Session, *, view: RunView, viewer: Tester | None) -> RunPeople:
    """Remarks and contests are for the run's tester and maintainers alone."""
    is_public = view.state is RunState.PUBLISHED
    report_href = f"/report?run={view.public_id}" if is_public else None
    is_own = viewer is not None and viewer.public_id == view.tester_id
    is_maintainer = viewer is not None and MAINTAIN in viewer.scopes
    if not is_own and not is_maintainer:
        return RunPeople(report_href=report_href)
    contests = contests_of_run(session, run_id=view.public_id)
    is_open = any(one.state is ConcernState.OPEN for one in contests)
    can_contest = is_own and view.state is RunState.RETURNED and not is_open
    is_returned = view.state is RunState.RETURNED
    remarks = remarks_of(session, run_id=view.public_id) if is_returned else ()
    return RunPeople(
        remarks=show_remarks(remarks, view),
        contests=_contests(contests),
        contest_href=f"/runs/{view.public_id}/contest" if can_contest else None,
        report_href=report_href,
        desk_href=f"/desk/runs/{view.public_id}" if is_maintainer else None,
    )


def _contests(contests: Sequence[ConcernView]) -> tuple[ContestShown, ...]:
    return tuple(
        ContestShown(
            day=show_date(one.created_at),
            text=one.text or "The words were erased.",
            answer=one.answer or "Another maintainer looks at it.",
        )
        for one in contests
    )
