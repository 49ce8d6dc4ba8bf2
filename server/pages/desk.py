"""The desk: what waits for a maintainer, with filters, counts and where to go on."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from textwrap import shorten
from urllib.parse import urlencode

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response

from server.dependencies import ReadSession
from server.dependencies.people import Maintainer
from server.model.moderation import Counted, DeskFilter, DeskItem, DeskKind, DeskState
from server.model.views import Page, Tester
from server.pages.request import site_of
from server.pages.shapes import Head, Link, Option
from server.pages.templating import render
from server.store.desk import desk_categories, desk_counts, desk_queue, next_open
from server.store.runs import run_view
from server.wording.counts import count_of, show_moment
from server.wording.desk import (
    age_words,
    desk_kind_reason,
    desk_kind_word,
    desk_state_word,
    done_words,
)
from server.wording.findings import finding_text
from server.wording.labels import kind_word

router = APIRouter()
FILTERS = ("kind", "state", "category", "mine")
MAX_TEXT = 120


@dataclass(frozen=True, slots=True)
class QueueRow:
    """One thing that waits. `pick`: what a tick sends, None for what is not decided in bulk."""

    why: str
    detail: str
    title: str
    href: str
    by: str
    age: str
    iso: str
    moment: str
    holder: str | None
    barred: bool
    pick: str | None


@dataclass(frozen=True, slots=True)
class CountShown:
    text: str
    n: int
    href: str
    is_chosen: bool


@dataclass(frozen=True, slots=True)
class DeskPage:
    head: Head
    done: str | None
    counts: tuple[CountShown, ...]
    total: int
    mine: CountShown
    states: tuple[Option, ...]
    categories: tuple[Option, ...]
    kind: str
    is_mine: bool
    rows: tuple[QueueRow, ...]
    next_href: str | None
    empty: str
    is_open: bool
    others: tuple[Link, ...]


def read_filter(query: Mapping[str, str]) -> DeskFilter:
    """From the address; a word that is none leaves its filter open."""
    kind, state = query.get("kind", ""), query.get("state", "")
    return DeskFilter(
        kind=DeskKind(kind) if kind in set(DeskKind) else None,
        state=DeskState(state) if state in set(DeskState) else DeskState.OPEN,
        category=query.get("category") or None,
        is_mine=query.get("mine") == "yes",
        cursor=query.get("cursor") or None,
    )


@router.get("/desk")
def desk(request: Request, session: ReadSession, maintainer: Maintainer) -> Response:
    query = dict(request.query_params)
    filters = read_filter(query)
    page = desk_page(
        filters,
        items=desk_queue(session, viewer=maintainer, filters=filters),
        counted=desk_counts(session, viewer=maintainer),
        categories=desk_categories(session),
        done=done_text(session, query.get("done"), maintainer),
    )
    return render(request, "desk.html", page, site=site_of(request, maintainer))


@router.get("/desk/next")
def next_case(request: Request, session: ReadSession, maintainer: Maintainer) -> Response:
    """On to the next thing that this maintainer may decide."""
    after = request.query_params.get("after", "")
    skipped = request.query_params.getlist("skip")[:50]
    item = next_open(session, viewer=maintainer, after=[after, *skipped])
    told = {"done": after} if after else {}
    target = item_path(item) if item is not None else "/desk"
    return RedirectResponse(f"{target}?{urlencode(told)}" if told else target, status_code=303)


def desk_page(
    filters: DeskFilter,
    *,
    items: Page[DeskItem],
    counted: Counted,
    categories: tuple[str, ...],
    done: str | None = None,
) -> DeskPage:
    is_open = filters.state is DeskState.OPEN
    at = datetime.now(UTC)
    return DeskPage(
        head=Head(
            title="Desk",
            description="What waits for a maintainer.",
            path="/desk",
            section="desk",
            json_path=f"/api/v1/desk{_query(filters)}",
            is_indexed=False,
        ),
        done=done,
        counts=tuple(_count(kind, counted, filters) for kind in DeskKind),
        total=counted.total,
        mine=CountShown("Taken by me", counted.n_mine, "/desk?mine=yes", filters.is_mine),
        states=tuple(
            Option(state.value, desk_state_word(state), state is filters.state)
            for state in DeskState
        ),
        categories=(
            Option("", "every category", filters.category is None),
            *(Option(word, word, word == filters.category) for word in categories),
        ),
        kind=filters.kind.value if filters.kind is not None else "",
        is_mine=filters.is_mine,
        rows=tuple(_row(item, at, is_open=is_open) for item in items.items),
        next_href=f"/desk{_query(filters, cursor=items.next)}" if items.next else None,
        empty=_empty(filters),
        is_open=is_open,
        others=(
            Link("Merge appliances", "/desk/merge"),
            Link("Makers’ mail domains", "/desk/makers"),
            Link("Practice cases", "/desk/practice"),
        ),
    )


def done_text(session: ReadSession, run_id: str | None, maintainer: Tester) -> str | None:
    """What the run decided on just now has come to, told from where it stands."""
    if not run_id:
        return None
    from server.errors import NotFound

    try:
        view = run_view(session, public_id=run_id, viewer=maintainer)
    except NotFound:  # a concern's id, or a wrong one: nothing to tell
        return None
    content = view.appliance.content
    return done_words(f"{content.maker} {content.model}", view.state)


def item_path(item: DeskItem) -> str:
    if item.source == "concern":
        return f"/desk/concerns/{item.public_id}"
    if item.source == "statement":
        return f"/claims/{item.public_id}"
    return f"/desk/runs/{item.public_id}" if item.public_id else "/desk"


def _count(kind: DeskKind, counted: Counted, filters: DeskFilter) -> CountShown:
    is_chosen = filters.kind is kind
    href = "/desk" if is_chosen else f"/desk?{urlencode({'kind': kind.value})}"
    return CountShown(desk_kind_word(kind), counted.by_kind[kind], href, is_chosen)


def _row(item: DeskItem, at: datetime, *, is_open: bool) -> QueueRow:
    named = item.appliance or "No appliance named"
    kind = f": {kind_word(item.run_kind).lower()} run" if item.run_kind else ""
    can_pick = is_open and item.source == "run" and not item.is_barred
    return QueueRow(
        why=desk_kind_reason(item.kind) if is_open else "",
        detail=_detail(item),
        title=f"{named}{kind}",
        href=item_path(item),
        by=item.by or ("a reader" if item.source == "concern" else ""),
        age=age_words(at - item.at),
        iso=item.at.isoformat(timespec="seconds"),
        moment=show_moment(item.at),
        holder=item.assigned_to,
        barred=item.is_barred,
        pick=f"{item.public_id}:{item.version}" if can_pick else None,
    )


def _detail(item: DeskItem) -> str:
    if item.errors:
        first = _cut(finding_text(item.errors[0]).message)
        more = len(item.errors) - 1
        return f"{first} And {count_of(more, 'more finding')}." if more else first
    return _cut(item.text or "")


def _cut(text: str) -> str:
    text = " ".join(text.split())
    return shorten(text, MAX_TEXT, placeholder=" …")


def _query(filters: DeskFilter, cursor: str | None = None) -> str:
    words = {
        "kind": filters.kind.value if filters.kind is not None else None,
        "state": filters.state.value if filters.state is not DeskState.OPEN else None,
        "category": filters.category,
        "mine": "yes" if filters.is_mine else None,
        "cursor": cursor,
    }
    given = {name: word for name, word in words.items() if word}
    return f"?{urlencode(given)}" if given else ""


def _empty(filters: DeskFilter) -> str:
    if filters.kind or filters.category or filters.is_mine:
        return "Nothing on the desk fits these filters."
    if filters.state is not DeskState.OPEN:
        return "Nothing stands here."
    return (
        "Nothing waits. Runs that a finding holds back, first runs of an appliance, and what "
        "readers report will stand here."
    )
