"""Codes as a second factor: set up, asked for, never taken twice; what a role needs them for."""

from collections.abc import Callable
from datetime import UTC, datetime, timedelta

import pyotp
import pytest
import sqlalchemy as sa
from fastapi import FastAPI

from server.app import create_app
from server.commands.appoint import appoint
from server.errors import BenchledgerError
from server.model.people import Role
from server.settings import Settings
from server.store import tables as t
from tests.pages.people import Person
from tests.pages.reading import problems_of, text_of

ADA = "ada@bench.example"


@pytest.fixture
def app(sqlite_settings: Settings) -> FastAPI:
    changes = {"mail": "folder", "mail_folder": sqlite_settings.data / "letters"}
    return create_app(sqlite_settings.model_copy(update=changes))


@pytest.fixture
def person(app: FastAPI) -> Callable[[], Person]:
    return lambda: Person(app)


@pytest.fixture
def ada(person) -> Person:
    one = person()
    one.sign_up("Ada Quill", ADA)
    one.confirm(ADA)
    return one


def set_up(one: Person) -> tuple[pyotp.TOTP, list[str]]:
    """Codes from the page as it shows them; the clock has gone on by a step."""
    one.open("/account/second-factor")
    page = one.send("/account/codes")
    assert problems_of(one.answer.text) == []
    totp = pyotp.TOTP("".join(page.select_one("code.secret").get_text().split()))
    earlier = datetime.now(UTC) - timedelta(seconds=30)
    page = one.send("/account/codes/confirm", code=totp.at(earlier))
    assert problems_of(one.answer.text) == []
    return totp, [code.get_text() for code in page.select("ul.codes code")]


def test_codes_are_asked_for_and_none_is_taken_twice(ada: Person, person) -> None:
    totp, recovery = set_up(ada)
    assert len(recovery) == 10
    other = person()
    page = other.sign_in(ADA, to="/account")
    assert "One more step" in text_of(page)
    assert "benchledger_session" not in other.client.cookies
    step = other.answer
    code = totp.now()
    other.send("/sign-in/second", code=code)
    assert other.answer.url.path == "/account"
    # The same code, by whoever looked over the shoulder.
    thief = person()
    thief.sign_in(ADA)
    page = thief.send("/sign-in/second", code=code)
    assert thief.answer.status_code == 422
    assert "used already" in text_of(page)
    # Nor does the page of before work again.
    thief.answer = step
    thief.send("/sign-in/second", code=recovery[0])
    assert thief.answer.status_code == 410


def test_a_recovery_code_works_once_and_new_ones_replace_the_rest(ada: Person, person) -> None:
    _, recovery = set_up(ada)
    one = person()
    one.sign_in(ADA, to="/account")
    one.send("/sign-in/second", code=recovery[3].upper())
    assert one.answer.url.path == "/account"
    again = person()
    again.sign_in(ADA)
    again.send("/sign-in/second", code=recovery[3])
    assert again.answer.status_code == 422
    page = ada.open("/account/second-factor")
    assert "9 recovery codes are left" in text_of(page)
    page = ada.send("/account/codes/recovery")
    fresh = [code.get_text() for code in page.select("ul.codes code")]
    assert not set(fresh) & set(recovery)
    again.sign_in(ADA)
    again.send("/sign-in/second", code=recovery[4])
    assert again.answer.status_code == 422


def test_guessing_codes_ends_soon(sqlite_settings: Settings) -> None:
    changes = {
        "mail": "folder",
        "mail_folder": sqlite_settings.data / "letters",
        "limit_sign_in_by_account": "6/hour",
    }
    app = create_app(sqlite_settings.model_copy(update=changes))
    ada = Person(app)
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    totp, _ = set_up(ada)
    other = Person(app)
    other.sign_in(ADA)
    statuses = [
        other.send("/sign-in/second", code="000000") and other.answer.status_code for _ in range(6)
    ]
    assert statuses == [422] * 6
    other.send("/sign-in/second", code=totp.now())
    assert other.answer.status_code == 429
    assert int(other.answer.headers["retry-after"]) > 60


def test_guessing_a_password_ends_soon_wherever_it_comes_from(sqlite_settings) -> None:
    changes = {
        "mail": "folder",
        "mail_folder": sqlite_settings.data / "letters",
        "limit_sign_in_by_account": "3/hour",
        "trusted_proxies": 1,
    }
    app = create_app(sqlite_settings.model_copy(update=changes))
    statuses = []
    for n in range(4):
        one = Person(app)
        one.client.headers["X-Forwarded-For"] = f"203.0.113.{n}"
        one.sign_in(ADA, "wrong horse battery")
        statuses.append(one.answer.status_code)
    assert statuses == [422, 422, 422, 429]


def test_a_wrong_code_sets_nothing_up(ada: Person) -> None:
    ada.open("/account/second-factor")
    ada.send("/account/codes")
    page = ada.send("/account/codes/confirm", code="000000")
    assert ada.answer.status_code == 422
    assert "check the clock" in text_of(page)
    assert "none" in text_of(ada.open("/account"), "dl.values")


def test_a_secret_is_sealed_in_the_database(app: FastAPI, ada: Person) -> None:
    totp, recovery = set_up(ada)
    with app.state.resources.engine.connect() as connection:
        (sealed,) = connection.execute(sa.select(t.TotpRow.sealed_secret)).scalars()
        kept = str(connection.execute(sa.select(t.OneTimeSecretRow.__table__)).all())
    assert totp.secret not in sealed
    assert [code for code in recovery if code in kept] == []


def test_a_maintainer_needs_one_before_the_role_works(app: FastAPI, ada: Person, person) -> None:
    appoint(app.state.settings, who=ADA, role=Role.ADMINISTRATOR, vouch=False)
    one = person()
    page = one.sign_in(ADA, to="/account/people")
    assert one.answer.url.path == "/account/second-factor"
    assert "works with a second factor only" in text_of(page)
    one.open("/account/people")
    assert one.answer.status_code == 403
    set_up(one)
    page = one.open("/account/people")
    assert one.answer.status_code == 200
    assert problems_of(one.answer.text) == []
    # The desk is in the navigation of who may decide, and of nobody else.
    assert page.select_one("nav a[href='/desk']") is not None
    assert person().open("/").select_one("nav a[href='/desk']") is None


def test_an_administrator_sets_roles_and_vouches_on_the_record(app, ada: Person, person) -> None:
    bo = person()
    bo.sign_up("Bo Marsh", "bo@bench.example")
    bo.confirm("bo@bench.example")
    appoint(app.state.settings, who="Ada Quill", role=Role.ADMINISTRATOR, vouch=False)
    set_up(ada)
    page = ada.open("/account/people?text=marsh")
    (row,) = page.select("ul.own li")
    role, vouch = (str(form["action"]) for form in row.select("form"))
    ada.send(role, role="maintainer")
    ada.open("/account/people?text=marsh")
    page = ada.send(vouch)
    assert "vouched for" in text_of(page)
    # Nobody changes their own.
    own = ada.open("/account/people?text=ada%40bench.example")
    assert own.select("ul.own form") == []
    token = ada.open("/account").select_one("[name=csrf_token]")["value"]
    with app.state.resources.engine.connect() as connection:
        ids = dict(connection.execute(sa.select(t.TesterRow.name, t.TesterRow.public_id)).all())
        acts = connection.execute(
            sa.select(t.AuditEventRow.act, t.AuditEventRow.actor, t.AuditEventRow.after).where(
                t.AuditEventRow.act.in_(["role set", "vouched"])
            )
        ).all()
    refused = ada.client.post(
        f"/account/people/{ids['Ada Quill']}/role", data={"csrf_token": token, "role": "tester"}
    )
    assert refused.status_code == 403
    assert acts == [
        ("role set", "operator", {"role": "administrator"}),
        ("role set", "tester", {"role": "maintainer"}),
        ("vouched", "tester", {"is_vouched": True}),
    ]


def test_the_operator_is_told_whom_a_name_means(app: FastAPI, ada: Person, person) -> None:
    settings = app.state.settings
    with pytest.raises(BenchledgerError, match="Nobody"):
        appoint(settings, who="Cy", role=Role.MAINTAINER, vouch=False)
    other = person()
    other.sign_up("Ada Quill", "ada2@bench.example")
    with pytest.raises(BenchledgerError, match="2 accounts"):
        appoint(settings, who="ada quill", role=Role.MAINTAINER, vouch=False)
