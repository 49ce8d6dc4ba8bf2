"""Signing in at an OpenID Connect provider, and everything in its answer that must hold."""

from collections.abc import Callable, Iterator

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from joserfc.jwk import ECKey, OctKey

from server.app import create_app
from server.model.people import Role
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session
from tests.pages.fake_provider import CLIENT, SECRET, Provider, serve
from tests.pages.people import Person
from tests.pages.reading import text_of

ADA = "ada@bench.example"


@pytest.fixture
def provider() -> Iterator[Provider]:
    made = Provider()
    server = serve(made)
    yield made
    server.shutdown()
    server.server_close()


@pytest.fixture
def app(sqlite_settings: Settings, provider: Provider) -> FastAPI:
    changes = {
        "mail": "folder",
        "mail_folder": sqlite_settings.data / "letters",
        "public_url": "http://ledger.test",
        "oidc_issuer": provider.issuer,
        "oidc_client_id": CLIENT,
        "oidc_client_secret": SECRET,
        "oidc_name": "the works",
    }
    return create_app(sqlite_settings.model_copy(update=changes))


@pytest.fixture
def person(app: FastAPI) -> Callable[[], Person]:
    return lambda: Person(app)


def leave(one: Person, *, to: str = "/") -> str:
    """Where the ledger sends the browser."""
    answer = one.client.get(f"/sign-in/provider?next={to}", follow_redirects=False)
    assert answer.status_code == 303, answer.text
    return str(answer.headers["location"])


def through(one: Person, provider: Provider, *, to: str = "/") -> None:
    one.answer = one.client.get(provider.authorize(leave(one, to=to)))


def accounts(app: FastAPI) -> list[tuple[str, str, str | None]]:
    with read_session(app.state.resources.engine) as session:
        rows = session.execute(
            sa.select(t.TesterRow.name, t.TesterRow.role, t.TesterRow.email).order_by(
                t.TesterRow.id
            )
        )
        return [tuple(row) for row in rows]


def test_somebody_new_gets_an_account_that_waits_for_an_address(app, person, provider) -> None:
    eve = person()
    page = eve.open("/sign-in")
    assert "Sign in with the works" in text_of(page)
    through(eve, provider)
    assert eve.answer.url.path == "/account"
    assert accounts(app) == [("Eve Lark", Role.READER, None)]
    eve.open("/account/email")
    eve.send("/account/email", email="eve@bench.example")
    eve.confirm("eve@bench.example")
    assert accounts(app) == [("Eve Lark", Role.TESTER, "eve@bench.example")]
    again = person()
    through(again, provider, to="/my-runs")
    assert again.answer.url.path == "/my-runs"
    assert len(accounts(app)) == 1
    asked = provider.asked[-1]
    assert (asked["response_type"], asked["client_id"]) == ("code", CLIENT)
    assert len({one["state"] for one in provider.asked}) == len(provider.asked)
    assert len({one["nonce"] for one in provider.asked}) == len(provider.asked)


def test_an_account_is_never_found_by_its_address(app, person, provider) -> None:
    """The provider says that Eve has Ada's address, confirmed: she gets an account of her own."""
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    eve = person()
    through(eve, provider)
    assert accounts(app) == [("Ada Quill", Role.TESTER, ADA), ("Eve Lark", Role.READER, None)]


def test_it_can_be_linked_to_an_account_by_its_owner(app, person, provider) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    through(ada, provider)
    assert "sign in that way too" in text_of(ada.open(str(ada.answer.url)))
    assert provider.asked[-1]["max_age"] == "0"
    elsewhere = person()
    through(elsewhere, provider, to="/account")
    assert "Ada Quill" in text_of(elsewhere.open("/account"))
    assert len(accounts(app)) == 1


def test_an_old_sign_in_there_proves_nothing_here(app, person, provider) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    provider.changes = {"auth_time": 1_000_000_000}
    through(ada, provider)
    assert ada.answer.status_code == 403


WRONG = {
    "another issuer": {"changes": {"iss": "https://other.example"}},
    "for another client": {"changes": {"aud": "other"}},
    "for several, none named": {"changes": {"aud": [CLIENT, "other"]}},
    "over": {"changes": {"exp": 1_000_000_000}},
    "another nonce": {"changes": {"nonce": "other"}},
    "no nonce": {"changes": {"nonce": None}},
    "no subject": {"changes": {"sub": None}},
    "an empty subject": {"changes": {"sub": ""}},
    "another key": {"signs_with": ECKey.generate_key("P-256", {"kid": "one"})},
    "a shared key": {
        "signs_with": OctKey.import_key(SECRET * 2, {"kid": "one"}),
        "algorithm": "HS256",
    },
}


@pytest.mark.parametrize("wrong", WRONG, ids=lambda name: name.replace(" ", "_"))
def test_what_does_not_hold_signs_nobody_in(app, person, provider, wrong: str) -> None:
    for name, value in WRONG[wrong].items():
        setattr(provider, name, value)
    eve = person()
    through(eve, provider)
    assert eve.answer.status_code == 403
    assert "benchledger_session" not in eve.client.cookies
    assert accounts(app) == []


def test_only_the_browser_that_left_comes_back_and_only_in_time(app, person, provider) -> None:
    eve, other = person(), person()
    back = provider.authorize(leave(eve))
    other.open(back)
    assert other.answer.status_code == 410
    leave(other)
    other.open(back)
    assert other.answer.status_code == 410
    eve.open(back.replace("state=", "state=x"))
    assert eve.answer.status_code == 410
    assert accounts(app) == []


def test_an_answer_works_once(person, provider) -> None:
    eve = person()
    back = provider.authorize(leave(eve))
    eve.open(back)
    assert eve.answer.url.path == "/account"
    eve.open(back)
    assert eve.answer.status_code == 410


def test_a_provider_that_describes_another_one_is_not_used(person, provider) -> None:
    provider.described_as = "https://other.example"
    answer = person().client.get("/sign-in/provider", follow_redirects=False)
    assert answer.status_code == 503


def test_an_issuer_without_tls_is_refused_at_the_start(tmp_path) -> None:
    named = {"oidc_client_id": "a", "public_url": "https://b.example", "data": tmp_path}
    with pytest.raises(ValueError, match="https"):
        Settings(oidc_issuer="http://other.example", **named)
    with pytest.raises(ValueError, match="BENCHLEDGER_OIDC_CLIENT_ID"):
        Settings(oidc_issuer="https://other.example", data=tmp_path)
