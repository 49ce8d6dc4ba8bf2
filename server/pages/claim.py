"""A claim's page: what is printed, the maker's words beside it, what testers heard."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date

from fastapi import APIRouter, Request
from fastapi.responses import RedirectResponse, Response
from sqlalchemy.orm import Session

from server.actions.answer_claim import (
    answer_claim,
    look_at_statement,
    remove_statement,
    speaks_for,
)
from server.actions.speak_for_maker import LINK_HOURS, ask_to_speak, confirm_mailbox
from server.dependencies import Maintainer, ReadSession, Viewer, Writer, WriteSession
from server.dependencies.letters import send_after, site_origin
from server.dependencies.limits import Limited
from server.dependencies.posted import CheckedForm
from server.errors import InvalidInput
from server.mail.letters import confirm_mailbox as letter_to_confirm
from server.model.moderation import StatementView
from server.model.people import MAINTAIN, SEND, StatementKind
from server.model.views import Tester
from server.pages.claims import claim_wording
from server.pages.desk_parts import problem_texts
from server.pages.request import site_of
from server.pages.shapes import Head, Link
from server.pages.statements import StatementShown, show_statements
from server.pages.templating import render
from server.store.statements import ClaimPlace, claim_place, statements_of
from server.wording.figures import show_claim

router = APIRouter()


@dataclass(frozen=True, slots=True)
class ClaimPage:
    """`speaks`: this reader is a checked representative of the maker."""

    head: Head
    title: str
    appliance: Link
    wording: str
    maker: str
    statements: tuple[StatementShown, ...]
    notes: tuple[StatementShown, ...]
    removed: tuple[StatementShown, ...]
    report_href: str
    notice_href: str
    can_note: bool
    speaks: bool
    can_ask: bool
    can_moderate: bool
    told: str | None
    problems: tuple[str, ...]
    form: Mapping[str, str]


@dataclass(frozen=True, slots=True)
class ConfirmPage:
    head: Head
    secret: str


@dataclass(frozen=True, slots=True)
class _Typed:
    told: str | None = None
    problems: tuple[str, ...] = ()
    form: Mapping[str, str] = field(default_factory=dict)


@router.get("/claims/{claim_id}")
def claim(request: Request, claim_id: str, session: ReadSession, viewer: Viewer) -> Response:
    return _shown(request, session, claim_id, viewer)


@router.post("/claims/{claim_id}/answers")
def add_answer(
    request: Request, claim_id: str, session: WriteSession, tester: Writer, form: CheckedForm
) -> Response:
    is_maker = form.get("kind") == StatementKind.MAKER.value
    try:
        with session.begin_nested():
            answer_claim(
                session,
                claim_id=claim_id,
                kind=StatementKind.MAKER if is_maker else StatementKind.CORRESPONDENCE,
                text=form.text("text"),
                source=form.text("source"),
                stated_on=_day(form.text("stated_on")),
                tester=tester,
            )
    except InvalidInput as refusal:
        typed = _Typed(problems=problem_texts(refusal), form=form)
        return _shown(request, session, claim_id, tester, status=422, typed=typed)
    return RedirectResponse(f"/claims/{claim_id}#answers", status_code=303)


@router.post("/claims/{claim_id}/speak", dependencies=[Limited("reset")])
def ask(
    request: Request, claim_id: str, session: WriteSession, tester: Writer, form: CheckedForm
) -> Response:
    """A link goes to the mailbox; the page says the same whether a letter arrives or not."""
    place = claim_place(session, public_id=claim_id)
    mailbox = form.text("mailbox")
    try:
        with session.begin_nested():
            secret = ask_to_speak(session, maker=place.maker, mailbox=mailbox, tester=tester)
    except InvalidInput as refusal:
        typed = _Typed(problems=problem_texts(refusal), form=form)
        return _shown(request, session, claim_id, tester, status=422, typed=typed)
    told = f"A link is on its way to {mailbox}. Open it while you are signed in here."
    response = _shown(request, session, claim_id, tester, typed=_Typed(told=told))
    origin = site_origin(request)
    letter = letter_to_confirm(
        origin=origin, to=mailbox, maker=place.maker, secret=secret, hours=LINK_HOURS
    )
    send_after(request, response, letter)
    return response


@router.get("/speak-for")
def confirm_form(request: Request, viewer: Viewer) -> Response:
    page = ConfirmPage(
        head=Head(
            title="Speak for a maker",
            description="Confirm a mailbox.",
            path="/speak-for",
            is_indexed=False,
        ),
        secret=request.query_params.get("secret", "")[:100],
    )
    answer = render(request, "speak_for.html", page, site=site_of(request, viewer))
    answer.headers["Cache-Control"] = "no-store"
    return answer


@router.post("/speak-for")
def confirm(session: WriteSession, tester: Writer, form: CheckedForm) -> Response:
    confirm_mailbox(session, secret=form.text("secret"), tester=tester)
    return RedirectResponse("/my-runs", status_code=303)


@router.post("/answers/{answer_id}/remove")
def remove(
    answer_id: str, session: WriteSession, maintainer: Maintainer, form: CheckedForm
) -> Response:
    remove_statement(
        session, public_id=answer_id, maintainer=maintainer, reason=form.text("reason")
    )
    return RedirectResponse(f"/claims/{form.text('claim')}#answers", status_code=303)


@router.post("/answers/{answer_id}/look")
def look(
    answer_id: str, session: WriteSession, maintainer: Maintainer, form: CheckedForm
) -> Response:
    look_at_statement(session, public_id=answer_id, maintainer=maintainer)
    return RedirectResponse("/desk/next", status_code=303)


def _shown(
    request: Request,
    session: Session,
    claim_id: str,
    viewer: Tester | None,
    *,
    status: int = 200,
    typed: _Typed | None = None,
) -> Response:
    place = claim_place(session, public_id=claim_id)
    speaks = viewer is not None and speaks_for(
        session, tester_id=viewer.id, maker_key=place.maker_key
    )
    page = claim_page(
        place,
        statements=statements_of(session, claim_id=claim_id),
        viewer=viewer,
        speaks=speaks,
        typed=typed or _Typed(),
    )
    return render(request, "claim.html", page, status=status, site=site_of(request, viewer))


def claim_page(
    place: ClaimPlace,
    *,
    statements: tuple[StatementView, ...],
    viewer: Tester | None,
    speaks: bool,
    typed: _Typed,
) -> ClaimPage:
    shown = show_statements(statements)
    can_send = viewer is not None and SEND in viewer.scopes
    printed = show_claim(place.claim)
    return ClaimPage(
        head=Head(
            title=f"{printed}, printed about {place.name}",
            description=claim_wording(place.claim),
            path=f"/claims/{place.public_id}",
            section="appliances",
            json_path=f"/api/v1/claims/{place.public_id}",
        ),
        title=f"{place.claim.quantity.replace('_', ' ').capitalize()}: {printed}",
        appliance=Link(place.name, place.appliance_path),
        wording=claim_wording(place.claim),
        maker=place.maker,
        statements=tuple(one for one in shown if one.is_maker and not one.removed),
        notes=tuple(one for one in shown if not one.is_maker and not one.removed),
        removed=tuple(one for one in shown if one.removed),
        report_href=f"/report?claim={place.public_id}",
        notice_href=f"/notice?claim={place.public_id}",
        can_note=can_send,
        speaks=speaks,
        can_ask=can_send and not speaks,
        can_moderate=viewer is not None and MAINTAIN in viewer.scopes,
        told=typed.told,
        problems=typed.problems,
        form={name: typed.form.get(name, "") for name in ("text", "source", "mailbox", "kind")},
    )


def _day(text: str) -> date | None:
    if not text:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        return date.max  # refused as a day that is yet to come
