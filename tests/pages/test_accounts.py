"""Accounts from the first visit on: signing up, confirming, signing in, resetting, ending."""

from collections.abc import Callable

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.app import create_app
from server.model.people import Role
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session
from tests.api.logs import small_log
from tests.pages.people import PASSWORD, Person, link_in, words_of
from tests.pages.reading import problems_of, text_of

ADA = "ada@bench.example"


@pytest.fixture
def app(sqlite_settings: Settings) -> FastAPI:
    changes = {"mail": "folder", "mail_folder": sqlite_settings.data / "letters"}
    return create_app(sqlite_settings.model_copy(update=changes))


@pytest.fixture
def person(app: FastAPI) -> Callable[[], Person]:
    return lambda: Person(app)


def role_of(app: FastAPI, name: str) -> list[str]:
    with read_session(app.state.resources.engine) as session:
        rows = session.execute(sa.select(t.TesterRow.role).where(t.TesterRow.name == name))
        return list(rows.scalars())


def test_from_signing_up_to_the_page_of_the_account(app: FastAPI, person) -> None:
    ada = person()
    page = ada.sign_up("Ada Quill", ADA)
    assert f"A letter is on its way to {ADA}" in text_of(page)
    assert role_of(app, "Ada Quill") == [Role.READER]
    # The link alone does nothing: programs of mailboxes open links too.
    letter = ada.letter_to(ADA)
    assert letter["Auto-Submitted"] == "auto-generated"
    for _ in range(2):
        ada.open(link_in(letter))
    assert role_of(app, "Ada Quill") == [Role.READER]
    page = ada.send("/confirm")
    assert ada.answer.url.path == "/account"
    assert "The address is confirmed" in text_of(page)
    assert role_of(app, "Ada Quill") == [Role.TESTER]
    assert "tester: sends runs for review" in text_of(page)
    # Used up.
    ada.open(link_in(letter))
    assert ada.answer.status_code == 410

    elsewhere = person()
    page = elsewhere.sign_in(ADA.upper(), to="/account")
    assert elsewhere.answer.url.path == "/account"
    assert "2" not in text_of(page, "main h1")
    assert len(page.select("ul.own li")) == 2


def test_every_page_of_accounts_keeps_the_rules_of_pages(person) -> None:
    ada = person()
    for path in ("/sign-up", "/sign-in", "/reset", "/privacy"):
        ada.open(path)
        assert problems_of(ada.answer.text) == [], path
    ada.sign_up("Ada Quill", ADA)
    assert problems_of(ada.answer.text) == []
    ada.confirm(ADA)
    places = ["/account", "/account/name", "/account/email", "/account/password"]
    for path in (*places, "/account/second-factor", "/prove"):
        ada.open(path)
        assert ada.answer.status_code == 200, path
        assert problems_of(ada.answer.text) == [], path
        assert ada.answer.headers["cache-control"] == "no-store"


def test_what_was_tried_stays_with_who_signs_up(app: FastAPI, person) -> None:
    ada = person()
    ada.client.post("/send", files={"file": ("run.csv", small_log().encode(), "text/csv")})
    page = ada.open("/send")
    (draft,) = {a["href"] for a in page.select("main a[href$='/columns']")}
    ada.open(f"/sign-up?next={draft}")
    ada.send("/sign-up", name="Ada Quill", email=ADA, password=PASSWORD)
    assert ada.client.get(draft).status_code == 200
    ada.confirm(ADA)
    assert ada.answer.url.path == draft
    with read_session(app.state.resources.engine) as session:
        n = session.execute(sa.select(sa.func.count()).select_from(t.TesterRow)).scalar_one()
    assert n == 1


def test_what_was_tried_goes_along_with_a_sign_in(person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    again = person()
    again.client.post("/send", files={"file": ("run.csv", small_log().encode(), "text/csv")})
    # Tried, signed up with the known address, then signed in: nothing is lost on the way.
    again.sign_up("Ada", ADA)
    assert "You have an account already" in str(again.letter_to(ADA)["Subject"])
    again.sign_in(ADA, to="/send")
    page = again.open("/send")
    assert len({a["href"] for a in page.select("main a[href$='/columns']")}) == 1


def test_signing_up_says_the_same_for_a_known_address(person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    pages, sent = [], []
    for name, address in (("Bo", ADA), ("Bo", "bo@bench.example")):
        other = person()
        page = other.sign_up(name, address)
        cookies = sorted(other.client.cookies)
        pages.append((text_of(page, "body").replace(address, "…"), cookies, str(other.answer.url)))
        page = other.send("/sign-up/again")
        pages[-1] += (text_of(page, "body").replace(address, "…"),)
        other.open("/account")
        pages[-1] += (other.answer.status_code,)
        sent.append(words_of(other.letter_to(address)))
    assert pages[0] == pages[1]
    assert "/confirm?secret=" not in sent[0]
    assert "/confirm?secret=" in sent[1]


def test_a_reset_says_the_same_for_an_unknown_address(person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    pages = []
    for address in (ADA, "nobody@bench.example"):
        other = person()
        other.open("/reset")
        page = other.send("/reset", email=address)
        pages.append(text_of(page, "body").replace(address, "…"))
    assert pages[0] == pages[1]
    assert "no account here" in words_of(other.letter_to("nobody@bench.example"))


def test_a_reset_sets_a_password_once_and_ends_every_sign_in(person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    other = person()
    other.open("/reset")
    other.send("/reset", email=ADA)
    link = link_in(other.letter_to(ADA))
    other.open(link)
    page = other.send("/reset/password", password="password123")
    assert other.answer.status_code == 422
    assert "tried first" in text_of(page)
    other.send("/reset/password", password="gimbal oatmeal quartz heron")
    assert other.answer.url.path == "/sign-in"
    ada.open("/account")
    assert ada.answer.url.path == "/sign-in"
    other.open(link)
    assert other.answer.status_code == 410
    assert "don't go together" in text_of(other.sign_in(ADA))
    other.sign_in(ADA, "gimbal oatmeal quartz heron", to="/account")
    assert other.answer.url.path == "/account"
    assert "link from a letter" in words_of(other.letter_to(ADA))


@pytest.mark.parametrize(
    ("typed", "word"),
    [
        ({"name": " "}, "The name"),
        ({"email": "ada"}, "e-mail address is no e-mail address"),
        ({"password": "password123"}, "tried first"),
        ({"password": "ada quill 1"}, "tried first"),
        ({"password": "short"}, "shorter than 10"),
    ],
)
def test_signing_up_says_what_is_wrong_and_keeps_what_was_typed(person, typed, word) -> None:
    ada = person()
    ada.open("/sign-up")
    filled = {"name": "Ada Quill", "email": ADA, "password": PASSWORD, **typed}
    page = ada.send("/sign-up", **filled)
    assert ada.answer.status_code == 422
    assert word in text_of(page)
    form = page.select_one("main form")
    assert form is not None
    assert form.select_one("[name=email]")["value"] == filled["email"]
    assert form.select_one("[name=password]")["value"] == ""
    assert ada.letters_to(ADA) == []


def test_nobody_is_signed_in_by_a_wrong_password_or_an_unknown_address(person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    pages = []
    for address, password in ((ADA, "wrong horse battery"), ("bo@bench.example", PASSWORD)):
        other = person()
        page = other.sign_in(address, password)
        assert other.answer.status_code == 422
        pages.append(text_of(page, "body"))
        assert "benchledger_session" not in other.client.cookies
    assert pages[0] == pages[1]


def test_an_unconfirmed_account_sends_nothing(person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    assert "waits for its e-mail address" in text_of(ada.open("/account"))
    token = ada.open("/send").select_one("input[name=csrf_token]")["value"]
    log = {"file": ("run.csv", small_log().encode(), "text/csv")}
    ada.client.post("/send", files=log, data={"csrf_token": token})
    page = ada.open("/send")
    (draft,) = {a["href"] for a in page.select("main a[href$='/columns']")}
    draft = str(draft).rsplit("/", 1)[0]
    assert ada.client.post(f"{draft}/send", data={"csrf_token": token}).status_code == 403


def test_sign_ins_are_listed_and_ended(person) -> None:
    ada, phone, library = person(), person(), person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    agent = "Mozilla/5.0 (Android 16; Mobile) Firefox/150.0"
    phone.client.headers["User-Agent"] = agent
    phone.sign_in(ADA)
    library.sign_in(ADA)
    page = ada.open("/account")
    assert "Firefox on Android" in text_of(page)
    rows = page.select("ul.own li")
    assert len(rows) == 3
    (row,) = [row for row in rows if "Firefox" in row.get_text()]
    ada.send(str(row.select_one("form")["action"]))
    phone.open("/account")
    assert phone.answer.url.path == "/sign-in"
    ada.send("/account/sign-ins/end-others")
    library.open("/account")
    assert library.answer.url.path == "/sign-in"
    assert ada.client.get("/account").status_code == 200


def test_a_password_is_changed_and_other_sign_ins_end(person) -> None:
    ada, other = person(), person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    other.sign_in(ADA)
    ada.open("/account/password")
    page = ada.send("/account/password", password="gimbal oatmeal quartz heron")
    assert "Every other sign-in has ended" in text_of(page)
    other.open("/account")
    assert other.answer.url.path == "/sign-in"
    assert "was changed" in words_of(ada.letter_to(ADA))


def test_an_address_changes_once_the_new_one_is_confirmed(app: FastAPI, person) -> None:
    ada, new = person(), "quill@bench.example"
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    ada.open("/account/email")
    ada.send("/account/email", email=new)
    assert "another e-mail address" in str(ada.letter_to(ADA)["Subject"])
    assert new not in words_of(ada.letter_to(ADA))
    assert f"{new} is not confirmed yet" in text_of(ada.open("/account"))
    page = ada.confirm(new)
    assert new in text_of(page)
    assert "has another" in str(ada.letter_to(ADA)["Subject"])
    assert "don't go together" in text_of(person().sign_in(ADA))


def test_a_change_asks_who_it_is_once_a_sign_in_is_old(app: FastAPI, person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    ada.open("/account/password")
    sent = ada.answer
    with app.state.resources.engine.begin() as connection:
        connection.execute(sa.update(t.WebSessionRow).values(proved_at=sa.null()))
    assert ada.client.get("/account").status_code == 200
    for path in ("/account/password", "/account/email", "/account/second-factor"):
        ada.open(path)
        assert ada.answer.url.path == "/prove"
    ada.answer = sent
    ada.send("/account/password", password="gimbal oatmeal quartz heron")
    assert ada.answer.url.path == "/prove"
    page = ada.send("/prove", password="not this one at all")
    assert "not your password" in text_of(page)
    ada.send("/prove", password=PASSWORD)
    ada.open("/account/password")
    assert ada.answer.url.path == "/account/password"
    person().sign_in(ADA)  # the password is still the old one


def test_a_token_opens_the_account_but_changes_no_sign_in(app: FastAPI, person) -> None:
    from server.actions.issue_token import issue_token
    from server.store.database import write_session

    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Bo Marsh").token
    bo = person()
    bo.open("/sign-in")
    bo.send("/sign-in", token=token)
    assert "with the token" in text_of(bo.open("/account"))
    for path in ("/account/password", "/account/email", "/account/second-factor"):
        bo.open(path)
        assert bo.answer.status_code == 403
    told = text_of(bo.open("/prove"))
    assert "tokens alone" in told
    assert "sign up" in told
    assert bo.open("/prove").select("main form") == []


def test_who_has_no_password_to_give_again_is_told_how_to_come_by_one(app, person) -> None:
    from server.actions.issue_token import issue_token
    from server.store.database import write_session

    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    with write_session(app.state.resources.engine) as session:
        issue_token(session, tester="Bo Marsh")
        token = session.execute(sa.select(t.ApiTokenRow.id)).scalar_one()
        session.execute(sa.update(t.WebSessionRow).values(token_id=token))
    page = ada.open("/prove?next=/account/email")
    assert "signed in with a token" in text_of(page)
    assert page.select_one("main a[href='/sign-in?next=%2Faccount%2Femail']") is not None
    with app.state.resources.engine.begin() as connection:
        connection.execute(sa.update(t.TesterRow).values(password_hash=None))
    page = ada.open("/prove")
    assert f"a letter to {ADA}" in text_of(page)
    assert page.select_one("main a[href='/reset']") is not None
    assert page.select("main form") == []


def test_letters_leave_only_once_the_change_is_kept(app: FastAPI, person, monkeypatch) -> None:
    """The address is in the database by the time its letter is sent."""
    from server.dependencies import letters

    seen = []

    def post(_settings, letter) -> bool:
        with read_session(app.state.resources.engine) as session:
            seen.append(session.execute(sa.select(t.OneTimeSecretRow.payload)).scalars().all())
        return True

    monkeypatch.setattr(letters, "post", post)
    person().sign_up("Ada Quill", ADA)
    assert seen == [[{"email": ADA, "next": "/account"}]]


def test_links_in_letters_follow_the_settings_not_the_request(sqlite_settings: Settings) -> None:
    changes = {
        "mail": "folder",
        "mail_folder": sqlite_settings.data / "letters",
        "public_url": "https://ledger.example",
    }
    app = create_app(sqlite_settings.model_copy(update=changes))
    ada = Person(app, address="http://other.example")
    ada.sign_up("Ada Quill", ADA)
    assert "https://ledger.example/confirm?secret=" in words_of(ada.letter_to(ADA))
    assert "other.example" not in words_of(ada.letter_to(ADA))
    assert isinstance(ada.client, TestClient)


def test_a_token_is_made_shown_once_used_and_ended(app: FastAPI, person) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    page = ada.open("/account/tokens")
    assert problems_of(ada.answer.text) == []
    assert {one["value"] for one in page.select("[name=scopes]")} == {"send"}
    page = ada.send("/account/tokens", label="Bench by the window", days="30")
    (token,) = [one.get_text() for one in page.select("code.secret")]
    assert "bl_" not in ada.client.get("/account/tokens").text
    bearer = {"Authorization": f"Bearer {token}"}
    plain = TestClient(app)
    me = plain.get("/api/v1/testers/me", headers=bearer)
    assert me.json()["scopes"] == ["send"]
    page = ada.open("/account/tokens")
    assert "last used" in text_of(page)
    assert "A token was made" in words_of(ada.letter_to(ADA))
    ada.send(str(page.select_one("ul.own form")["action"]))
    assert plain.get("/api/v1/testers/me", headers=bearer).status_code == 401


@pytest.mark.parametrize("typed", [{"scopes": "administer"}, {"scopes": []}, {"days": "3"}])
def test_no_token_reaches_further_than_its_maker(person, typed) -> None:
    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    token = ada.open("/account/tokens").select_one("[name=csrf_token]")["value"]
    fields = {"csrf_token": token, "label": "x", "days": "90", "scopes": "send", **typed}
    answer = ada.client.post("/account/tokens", data=fields)
    assert answer.status_code == 422
    assert "bl_" not in answer.text


def test_a_use_is_written_down_once_an_hour(app: FastAPI, person, count_queries) -> None:
    from server.actions.issue_token import issue_token
    from server.store.database import write_session

    engine = app.state.resources.engine
    with write_session(engine) as session:
        bearer = {"Authorization": f"Bearer {issue_token(session, tester='Bo').token}"}
    client = TestClient(app)
    writes = []
    for _ in range(3):
        with count_queries(engine) as queries:
            client.get("/api/v1/testers/me", headers=bearer)
        writes.append(sum(one.startswith("UPDATE") for one in queries))
    assert writes == [1, 0, 0]


def test_an_account_is_taken_along_and_deleted(app: FastAPI, person) -> None:
    from server.store.erasures import read_erasures

    ada, other = person(), person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    other.sign_in(ADA)
    ada.open("/account/data")
    assert problems_of(ada.answer.text) == []
    sent = ada.answer
    ada.send("/account/data/export")
    assert ada.answer.headers["content-disposition"].startswith("attachment")
    assert ada.answer.json()["account"]["name"] == "Ada Quill"
    ada.answer = sent
    page = ada.send("/account/data/delete", typed="yes")
    assert "Nothing was deleted" in text_of(page)
    page = ada.send("/account/data/delete", typed="delete")
    assert "Your account was deleted" in text_of(page)
    assert "deleted, as you asked" in words_of(ada.letter_to(ADA))
    for one in (ada, other):
        one.open("/account")
        assert one.answer.url.path == "/sign-in"
    assert "don't go together" in text_of(ada.sign_in(ADA))
    assert len(read_erasures(app.state.settings.data)) == 1
    # The address is free again.
    ada.sign_up("Ada Quill", ADA)
    assert "/confirm?secret=" in words_of(ada.letter_to(ADA))


@pytest.mark.parametrize(
    ("place", "typed"),
    [
        ("/sign-in", {"password": "wrong horse battery"}),
        ("/sign-up", {"name": "Bo", "password": PASSWORD}),
        ("/reset", {}),
    ],
)
def test_an_unknown_address_costs_the_same_work(
    app: FastAPI, person, count_queries, monkeypatch, place: str, typed: dict[str, str]
) -> None:
    """Statements and hashes, which are what takes time; the letter leaves after the answer."""
    from server.credentials import passwords

    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    hashed: list[str] = []
    hasher = passwords._hasher()
    hashing, verifying = hasher.hash, hasher.verify
    passwords._nobodys_hash()

    class Counting:
        def hash(self, password: str) -> str:
            hashed.append("hash")
            return hashing(password)

        def verify(self, kept: str, password: str) -> bool:
            hashed.append("verify")
            return verifying(kept, password)

        check_needs_rehash = hasher.check_needs_rehash

    monkeypatch.setattr(passwords, "_hasher", Counting)
    work = []
    for address in (ADA, "nobody@bench.example"):
        other = person()
        other.open(place)
        hashed.clear()
        with count_queries(app.state.resources.engine) as queries:
            other.client.follow_redirects = False
            other.send(place, email=address, **typed)
        kinds = [" ".join(one.split()[:3]) for one in queries]
        work.append((other.answer.status_code, list(hashed), kinds))
    assert work[0] == work[1]
    assert hashed or place == "/reset"


def test_few_passwords_are_hashed_at_one_time(app: FastAPI, person, monkeypatch) -> None:
    import threading
    import time

    from server.credentials import passwords

    now, most, lock = 0, 0, threading.Lock()

    def slow(_kept: str | None, _password: str) -> bool:
        nonlocal now, most
        with lock:
            now += 1
            most = max(most, now)
        time.sleep(0.05)
        with lock:
            now -= 1
        return False

    monkeypatch.setattr(passwords, "is_password", slow)
    with TestClient(app) as client:
        fields = {"email": ADA, "password": PASSWORD}
        threads = [
            threading.Thread(target=client.post, args=("/sign-in",), kwargs={"data": fields})
            for _ in range(8)
        ]
        for one in threads:
            one.start()
        for one in threads:
            one.join()
    assert most == app.state.settings.password_hashes == 2


def test_a_hash_of_old_parameters_is_renewed_by_a_sign_in(app: FastAPI, person) -> None:
    from argon2 import PasswordHasher

    ada = person()
    ada.sign_up("Ada Quill", ADA)
    ada.confirm(ADA)
    old = PasswordHasher(time_cost=1, memory_cost=8192, parallelism=1).hash(PASSWORD)
    engine = app.state.resources.engine
    with engine.begin() as connection:
        connection.execute(sa.update(t.TesterRow).values(password_hash=old))
    person().sign_in(ADA, "wrong horse battery")
    kept = sa.select(t.TesterRow.password_hash)
    with engine.connect() as connection:
        assert connection.execute(kept).scalar_one() == old
    for _ in range(2):
        other = person()
        other.sign_in(ADA, to="/account")
        assert other.answer.url.path == "/account"
    with engine.connect() as connection:
        assert "m=65536,t=3,p=4" in connection.execute(kept).scalar_one()


def test_nobody_gets_a_page_that_was_made_for_another(app: FastAPI, person) -> None:
    """Answers for readers are kept by the process; those for somebody signed in never are."""
    ada, bo, reader = person(), person(), person()
    for one, name, address in ((ada, "Ada Quill", ADA), (bo, "Bo Marsh", "bo@bench.example")):
        one.sign_up(name, address)
        one.confirm(address)
    for _ in range(3):
        pages = [one.client.get("/") for one in (reader, ada, reader, bo, ada, reader)]
        names = ["Ada Quill" * ("Ada" in p.text) + "Bo Marsh" * ("Bo M" in p.text) for p in pages]
        assert names == ["", "Ada Quill", "", "Bo Marsh", "Ada Quill", ""]
    assert "private" in pages[1].headers["cache-control"]
    assert "Cookie" in pages[0].headers["vary"]
    # What the reader's browser kept is not taken for unchanged once somebody signed in there.
    marks = {pages[n].headers["etag"] for n in (0, 1, 3)}
    assert len(marks) == 3
