"""A report, contest, notice or request on the desk, and how it is settled."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from server.actions.settle_concern import (
    OUTCOMES,
    Outcome,
    give_back_concern,
    settle_concern,
    take_concern,
    why_not_settle,
)
from server.dependencies import Maintainer, ReadSession, WriteSession
from server.dependencies.letters import send_after, site_origin
from server.dependencies.posted import CheckedForm
from server.errors import Conflict, InvalidInput
from server.mail.letters import report_settled
from server.model.moderation import ConcernView
from server.model.people import ConcernKind, ConcernState
from server.model.views import Tester
from server.model.words import MetricName
from server.pages.desk_parts import problem_texts
from server.pages.request import site_of
from server.pages.shapes import Head, Link, Option, Value
from server.pages.templating import render
from server.store.concerns import concern_view
from server.wording.counts import show_moment
from server.wording.desk import age_words, concern_word, outcome_word
from server.wording.figures import metric_label

router = APIRouter(prefix="/desk/concerns")


@dataclass(frozen=True, slots=True)
class ConcernCase:
    head: Head
    title: str
    about: Link | None
    case: Link | None
    basis: str
    text: str
    facts: tuple[Value, ...]
    notice: str | None
    problems: tuple[str, ...]
    barred: str | None
    holder: str | None
    take: str | None
    can_give_back: bool
    can_settle: bool
    outcomes: tuple[Option, ...]
    answer: str
    decided: str | None
    version: int
    skip_href: str


@dataclass(frozen=True, slots=True)
class Typed:
    notice: str | None = None
    problems: tuple[str, ...] = ()
    form: Mapping[str, str] = field(default_factory=dict)


@router.get("/{public_id}")
def concern(
    request: Request, public_id: str, session: ReadSession, maintainer: Maintainer
) -> Response:
    return _shown(request, session, public_id, maintainer)


@router.post("/{public_id}/settle")
def settle(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    word = form.get("outcome", "")
    try:
        with session.begin_nested():
            settle_concern(
                session,
                public_id=public_id,
                version=form.number("version"),
                maintainer=who,
                outcome=Outcome(word) if word in set(Outcome) else Outcome.STANDS,
                answer=form.text("answer"),
            )
    except InvalidInput as refusal:
        typed = Typed(problems=problem_texts(refusal), form=form)
        return _shown(request, session, public_id, who, status=422, typed=typed)
    except Conflict as refusal:
        typed = Typed(notice=str(refusal), form=form)
        return _shown(request, session, public_id, who, status=409, typed=typed)
    response = RedirectResponse(f"/desk/next?after={public_id}", status_code=303)
    mailbox = mailbox_of(concern_view(session, public_id=public_id, viewer=who).contact)
    if mailbox is not None:
        letter = report_settled(origin=site_origin(request), to=mailbox, public_id=public_id)
        send_after(request, response, letter)
    return response


def mailbox_of(contact: str | None) -> str | None:
    """The address alone: a notice keeps the name before it."""
    if not contact:
        return None
    return contact.rpartition("<")[2].rstrip(">") or None


@router.post("/{public_id}/take")
def take_it(
    request: Request, public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    try:
        with session.begin_nested():
            is_over = form.get("over") == "yes"
            take_concern(session, public_id=public_id, maintainer=who, is_over=is_over)
    except Conflict as refusal:
        typed = Typed(notice=str(refusal))
        return _shown(request, session, public_id, who, status=409, typed=typed)
    return RedirectResponse(f"/desk/concerns/{public_id}", status_code=303)


@router.post("/{public_id}/give-back")
def give_it_back(
    public_id: str, session: WriteSession, who: Maintainer, form: CheckedForm
) -> Response:
    give_back_concern(session, public_id=public_id, maintainer=who)
    return RedirectResponse(f"/desk/concerns/{public_id}", status_code=303)


def _shown(
    request: Request,
    session: Session,
    public_id: str,
    who: Tester,
    *,
    status: int = 200,
    typed: Typed | None = None,
) -> Response:
    view = concern_view(session, public_id=public_id, viewer=who)
    barred = why_not_settle(session, public_id=public_id, maintainer=who)
    page = concern_case(view, barred=barred, typed=typed or Typed())
    return render(request, "desk_concern.html", page, status=status, site=site_of(request, who))


def concern_case(view: ConcernView, *, barred: str | None, typed: Typed) -> ConcernCase:
    is_open = view.state is ConcernState.OPEN
    held = view.assigned
    is_mine = held is not None and held.is_own
    is_free = held is None or is_mine
    holder = None
    if held is not None:
        until = f"until {held.until:%H:%M} UTC"
        holder = f"Taken by you {until}." if held.is_own else f"{held.name} has it {until}."
    take = None
    if is_open and barred is None and not is_mine:
        take = "Take it for 30 minutes" if is_free else "Take it over"
    return ConcernCase(
        head=Head(
            title=f"Desk: {concern_word(view.kind)}",
            description=concern_word(view.kind),
            path=f"/desk/concerns/{view.public_id}",
            section="desk",
            json_path=f"/api/v1/concerns/{view.public_id}",
            is_indexed=False,
        ),
        title=concern_word(view.kind),
        about=_about(view),
        case=Link("The run on the desk", f"/desk/runs/{view.run_id}") if view.run_id else None,
        basis=_basis(view),
        text=view.text or ("" if view.kind is ConcernKind.REQUEST else "The words were erased."),
        facts=_facts(view),
        notice=typed.notice,
        problems=typed.problems,
        barred=barred if is_open else None,
        holder=holder if is_open else None,
        take=take,
        can_give_back=is_open and is_mine,
        can_settle=is_open and barred is None and is_free,
        outcomes=_outcomes(view, typed.form.get("outcome", "")),
        answer=typed.form.get("answer", view.answer or "" if not is_open else ""),
        decided=_decided(view),
        version=view.version,
        skip_href=f"/desk/next?skip={view.public_id}",
    )


def _about(view: ConcernView) -> Link | None:
    if view.run_id is not None:
        return Link(f"A run of {view.appliance}", f"/runs/{view.run_id}")
    if view.claim_id is not None:
        return Link(f"A claim about {view.appliance}", f"/claims/{view.claim_id}")
    if view.appliance is None:
        return None
    return Link(view.appliance, f"/appliances/{view.appliance_id}-{view.appliance_slug}")


def _basis(view: ConcernView) -> str:
    age = age_words(datetime.now(UTC) - view.created_at)
    return f"by {view.by or 'a reader'} · {show_moment(view.created_at)}, {age} ago"


def _facts(view: ConcernView) -> tuple[Value, ...]:
    rows = []
    if view.figure is not None:
        is_metric = view.figure in set(MetricName)
        text = metric_label(MetricName(view.figure)) if is_metric else view.figure
        label = "Asked for" if view.kind is ConcernKind.REQUEST else "Figure"
        rows.append(Value(label, text))
    if view.contact:
        rows.append(Value("Answer to", view.contact))
    return tuple(rows)


def _outcomes(view: ConcernView, chosen: str) -> tuple[Option, ...]:
    return tuple(
        Option(one.value, outcome_word(view.kind, one.value), one.value == chosen)
        for one in OUTCOMES[view.kind]
        if one is not Outcome.WAITS or view.run_id is not None
    )


def _decided(view: ConcernView) -> str | None:
    if view.decided_at is None:
        return None
    return f"Settled by {view.decided_by}, {show_moment(view.decided_at)}."
