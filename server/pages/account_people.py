"""The administrators' page of people: roles, and who is vouched for."""

from dataclasses import dataclass
from typing import Annotated
from urllib.parse import urlencode

from fastapi import APIRouter, Form, Request
from fastapi.responses import Response

from server.actions.set_role import GIVEN, set_role, set_vouched
from server.dependencies import Administrator, Proved, ReadSession, WriteSession
from server.errors import InvalidInput, Problem
from server.model.accounts import PersonRow
from server.model.people import Role
from server.model.views import Page, Tester
from server.pages.account_answers import answer, to
from server.pages.account_shapes import head_of
from server.pages.shapes import Head, Option
from server.sign_in import check_form
from server.store.accounts import list_people
from server.store.journal import by
from server.wording.counts import count_of, show_date

router = APIRouter()
PLACE = "/account/people"


@dataclass(frozen=True, slots=True)
class PersonShown:
    id: str
    name: str
    email: str
    note: str
    roles: tuple[Option, ...]
    is_vouched: bool
    may_change: bool


@dataclass(frozen=True, slots=True)
class PeoplePage:
    head: Head
    text: str
    told: str | None
    people: tuple[PersonShown, ...]
    next_href: str | None


def people_page(
    found: Page[PersonRow], *, viewer: Tester, text: str, told: str | None = None
) -> PeoplePage:
    onward = urlencode({"text": text, "cursor": found.next or ""})
    return PeoplePage(
        head=head_of("People", PLACE),
        text=text,
        told=told,
        people=tuple(_shown(one, viewer) for one in found.items),
        next_href=f"{PLACE}?{onward}" if found.next else None,
    )


def _shown(one: PersonRow, viewer: Tester) -> PersonShown:
    factor = "with a second factor" if one.has_second_factor else "without a second factor"
    runs = count_of(one.n_published, "published run")
    return PersonShown(
        id=one.public_id,
        name=one.name or "no name",
        email=one.email or "no address",
        note=f"{one.role.value}, {factor}, {runs}, since {show_date(one.created_at)}",
        roles=tuple(Option(role.value, role.value, role is one.role) for role in GIVEN),
        is_vouched=one.is_vouched,
        may_change=one.public_id != viewer.public_id and one.role is not Role.READER,
    )


@router.get(PLACE)
def show_people(
    request: Request,
    tester: Administrator,
    session: ReadSession,
    text: str = "",
    cursor: str | None = None,
    told: str = "",
) -> Response:
    found = list_people(session, text=text[:200] or None, cursor=cursor or None)
    done = "That is set, and in the journal." if told == "set" else None
    page = people_page(found, viewer=tester, text=text[:200], told=done)
    return answer(request, page, viewer=tester, template="people.html")


@router.post(PLACE + "/{person_id}/role")
def change_role(
    request: Request,
    person_id: str,
    tester: Administrator,
    _proved: Proved,
    session: WriteSession,
    role: Annotated[str, Form()] = "",
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    if role not in {one.value for one in GIVEN}:
        problem = Problem("there is no such role.", "Choose one of the list.", field="role")
        raise InvalidInput("role", [problem])
    set_role(session, public_id=person_id, role=Role(role), actor=by(tester))
    return to(f"{PLACE}?told=set")


@router.post(PLACE + "/{person_id}/vouch")
def change_vouch(
    request: Request,
    person_id: str,
    tester: Administrator,
    _proved: Proved,
    session: WriteSession,
    vouched: Annotated[str, Form()] = "",
    csrf_token: Annotated[str, Form()] = "",
) -> Response:
    check_form(request, csrf_token)
    set_vouched(session, public_id=person_id, is_vouched=vouched == "yes", actor=by(tester))
    return to(f"{PLACE}?told=set")
