"""Saying that something is wrong, sending a notice, asking for a test; and what came of it."""

from collections.abc import Mapping
from dataclasses import dataclass, field

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from server.actions.raise_concern import (
    About,
    ask_for_test,
    contest_return,
    report_problem,
    send_notice,
)
from server.dependencies import ReadSession, Viewer, Writer, WriteSession
from server.dependencies.limits import Limited
from server.dependencies.posted import CheckedForm, OpenForm
from server.errors import InvalidInput, Problem
from server.model.moderation import ConcernView
from server.model.people import ConcernState
from server.model.views import Tester
from server.model.wishes import WISHES
from server.model.words import MetricName
from server.pages.desk_parts import problem_texts
from server.pages.request import site_of
from server.pages.shapes import Head, Link, Option
from server.pages.templating import render
from server.store.concerns import concern_view
from server.store.subjects import SubjectNamed, subject_named
from server.wording.counts import show_moment
from server.wording.desk import concern_word
from server.wording.figures import metric_label

router = APIRouter()
PARTS = ("run", "appliance", "claim", "figure")


@dataclass(frozen=True, slots=True)
class ReportPage:
    """The form of one sort of concern. `kept`: what goes along unseen."""

    head: Head
    title: str
    about: Link | None
    kept: tuple[tuple[str, str], ...]
    problems: tuple[str, ...]
    form: Mapping[str, str]
    wishes: tuple[Option, ...] = ()


@dataclass(frozen=True, slots=True)
class ConcernPage:
    head: Head
    title: str
    about: Link | None
    standing: str
    text: str
    answer: str | None
    sent: str
    decided: str | None


@dataclass(frozen=True, slots=True)
class _Sort:
    path: str
    template: str
    title: str
    description: str
    wishes: tuple[str, ...] = field(default=())


REPORT = _Sort(
    "/report",
    "report.html",
    "Something wrong with this figure?",
    "Say what is wrong with a figure, a run or a claim. No account is needed.",
)
NOTICE = _Sort(
    "/notice",
    "notice.html",
    "Send a notice",
    "Where to complain of something here that is unlawful, and what a notice must contain.",
)
REQUEST = _Sort(
    "/request", "request.html", "Ask for a test", "Ask testers to test an appliance.", WISHES
)


def about_of(query: Mapping[str, str]) -> About:
    """From the words of an address or form; a figure that is none is left out."""
    figure = query.get("figure", "")
    return About(
        appliance_id=query.get("appliance") or None,
        run_id=query.get("run") or None,
        claim_id=query.get("claim") or None,
        figure=figure if figure in set(MetricName) else None,
    )


def given_about(form: Mapping[str, str]) -> About:
    """What a form is about: what went along unseen, else the address that was pasted.

    Raises
    ------
    InvalidInput: neither names a run, an appliance or a claim.
    """
    about = about_of(form)
    if not _is_named(about):
        about = about_of(_from_address(form.get("address", "").strip()))
    if not _is_named(about):
        remedy = "Paste the address of its page: of a run, an appliance or a claim."
        raise InvalidInput("report", [Problem("what is it about?", remedy, field="address")])
    return about


def _is_named(about: About) -> bool:
    return bool(about.run_id or about.appliance_id or about.claim_id)


@router.get("/report")
def report_form(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    return _form(request, session, viewer, REPORT, dict(request.query_params))


@router.post("/report", dependencies=[Limited("report")])
def report(request: Request, session: WriteSession, viewer: Viewer, form: OpenForm) -> Response:
    try:
        with session.begin_nested():
            public_id = report_problem(
                session,
                about=given_about(form),
                text=form.text("text"),
                reporter=viewer,
                contact=form.text("contact"),
            )
    except InvalidInput as refusal:
        return _form(request, session, viewer, REPORT, form, refusal)
    return RedirectResponse(f"/reports/{public_id}", status_code=303)


@router.get("/notice")
def notice_form(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    return _form(request, session, viewer, NOTICE, dict(request.query_params))


@router.post("/notice", dependencies=[Limited("report")])
def notice(request: Request, session: WriteSession, viewer: Viewer, form: OpenForm) -> Response:
    try:
        with session.begin_nested():
            public_id = send_notice(
                session,
                about=given_about(form),
                text=form.text("text"),
                name=form.text("name"),
                contact=form.text("contact"),
                is_in_good_faith=form.get("good_faith") == "yes",
                reporter=viewer,
            )
    except InvalidInput as refusal:
        return _form(request, session, viewer, NOTICE, form, refusal)
    return RedirectResponse(f"/reports/{public_id}", status_code=303)


@router.get("/request")
def request_form(request: Request, session: ReadSession, viewer: Viewer) -> Response:
    return _form(request, session, viewer, REQUEST, dict(request.query_params))


@router.post("/request", dependencies=[Limited("report")])
def ask(request: Request, session: WriteSession, viewer: Viewer, form: OpenForm) -> Response:
    try:
        with session.begin_nested():
            public_id = ask_for_test(
                session,
                appliance_id=given_about(form).appliance_id or "",
                wish=form.text("wish"),
                text=form.text("text")[:2000],
                reporter=viewer,
            )
    except InvalidInput as refusal:
        return _form(request, session, viewer, REQUEST, form, refusal)
    return RedirectResponse(f"/reports/{public_id}", status_code=303)


@router.post("/runs/{public_id}/contest")
def contest(public_id: str, session: WriteSession, tester: Writer, form: CheckedForm) -> Response:
    contest_return(session, run_id=public_id, tester=tester, text=form.text("text"))
    return RedirectResponse(f"/runs/{public_id}#contest", status_code=303)


@router.get("/reports/{public_id}")
def what_came_of_it(
    request: Request, public_id: str, session: ReadSession, viewer: Viewer
) -> Response:
    """Known to whoever has its address: the one who wrote it."""
    page = concern_page(concern_view(session, public_id=public_id, viewer=viewer))
    answer = render(request, "report_state.html", page, site=site_of(request, viewer))
    answer.headers["Cache-Control"] = "no-store"
    return answer


def _form(
    request: Request,
    session: Session,
    viewer: Tester | None,
    sort: _Sort,
    query: Mapping[str, str],
    refusal: InvalidInput | None = None,
) -> Response:
    about = about_of(query)
    named = _named(session, about, viewer)
    kept = tuple((part, query[part]) for part in PARTS if query.get(part))
    page = ReportPage(
        head=Head(
            title=sort.title,
            description=sort.description,
            path=sort.path,
            is_indexed=sort is NOTICE,
        ),
        title=_title(sort, about, named),
        about=Link(_about_words(named, about), named.path) if named is not None else None,
        kept=kept,
        problems=problem_texts(refusal) if refusal is not None else (),
        form={name: query.get(name, "") for name in ("text", "contact", "name", "address", "wish")},
        wishes=tuple(Option(word, word, word == query.get("wish")) for word in sort.wishes),
    )
    status = 200 if refusal is None else 422
    return render(request, sort.template, page, status=status, site=site_of(request, viewer))


def _named(session: Session, about: About, viewer: Tester | None) -> SubjectNamed | None:
    if not _is_named(about):
        return None
    return subject_named(
        session,
        run_id=about.run_id,
        appliance_id=about.appliance_id,
        claim_id=about.claim_id,
        viewer=viewer,
    )


def _title(sort: _Sort, about: About, named: SubjectNamed | None) -> str:
    if sort is REPORT and about.figure is None and named is not None:
        return f"Something wrong with this {named.kind}?"
    return sort.title


def _about_words(named: SubjectNamed, about: About) -> str:
    if about.figure is not None:
        return f"{metric_label(MetricName(about.figure))}, {named.text}"
    return named.text


def _from_address(address: str) -> dict[str, str]:
    """The run, appliance or claim that a pasted address of ours names."""
    path = address.partition("://")[2].partition("/")[2] if "://" in address else address
    parts = [part for part in path.split("?")[0].split("#")[0].split("/") if part]
    if len(parts) < 2:
        return {}
    word = {"runs": "run", "appliances": "appliance", "claims": "claim"}.get(parts[0])
    return {word: parts[1].partition("-")[0]} if word else {}


def concern_page(concern: ConcernView) -> ConcernPage:
    is_open = concern.state is ConcernState.OPEN
    about = None
    if concern.run_id is not None:
        about = Link(f"A run of {concern.appliance}", f"/runs/{concern.run_id}")
    elif concern.claim_id is not None:
        about = Link(f"A claim about {concern.appliance}", f"/claims/{concern.claim_id}")
    elif concern.appliance is not None:
        path = f"/appliances/{concern.appliance_id}-{concern.appliance_slug}"
        about = Link(concern.appliance, path)
    return ConcernPage(
        head=Head(
            title=concern_word(concern.kind),
            description="What came of it.",
            path=f"/reports/{concern.public_id}",
            is_indexed=False,
        ),
        title=concern_word(concern.kind),
        about=about,
        standing="Open: a maintainer will look at it." if is_open else "Settled.",
        text=concern.text or "The words were erased.",
        answer=concern.answer,
        sent=show_moment(concern.created_at),
        decided=show_moment(concern.decided_at) if concern.decided_at is not None else None,
    )
