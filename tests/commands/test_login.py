"""`benchledger login`: shown by the command, approved in the browser, kept for its user alone."""

import threading
import time
from collections.abc import Iterator
from contextlib import AbstractContextManager, nullcontext
from pathlib import Path

import httpx
import pytest
from anyio.from_thread import start_blocking_portal
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.app import create_app
from server.commands import login as command
from server.commands.credentials import stored_token, tokens_file
from server.errors import BenchledgerError
from server.settings import Settings
from tests.pages.people import Person
from tests.pages.reading import problems_of, text_of

ADDRESS = "http://ledger.test"


@pytest.fixture
def app(sqlite_settings: Settings) -> FastAPI:
    changes = {
        "mail": "folder",
        "mail_folder": sqlite_settings.data / "letters",
        "public_url": ADDRESS,
    }
    return create_app(sqlite_settings.model_copy(update=changes))


@pytest.fixture
def ada(app: FastAPI) -> Person:
    one = Person(app)
    one.sign_up("Ada Quill", "ada@bench.example")
    one.confirm("ada@bench.example")
    return one


@pytest.fixture
def at_home(
    app: FastAPI, ada: Person, monkeypatch: pytest.MonkeyPatch, tmp_path: Path
) -> Iterator[Path]:
    """The command on this machine, whose network is the application itself.

    One event loop answers it and the browser, as in a process: a turn at writing can't be waited
    for from two.
    """
    monkeypatch.setenv("XDG_CONFIG_HOME", str(tmp_path / "config"))
    monkeypatch.setattr(command.platform, "node", lambda: "bench by the window")
    with start_blocking_portal() as loop:

        def open_client(server: str) -> AbstractContextManager[TestClient]:
            client = TestClient(app, base_url=server)
            client.portal = loop
            return nullcontext(client)

        monkeypatch.setattr(command, "open_client", open_client)
        ada.client.portal = loop
        yield tmp_path / "config"
        ada.client.portal = None


def asked(app: FastAPI) -> dict[str, str]:
    answer = TestClient(app, base_url=ADDRESS).post(
        "/api/v1/command-sign-ins", json={"where": "bench by the window"}
    )
    assert answer.status_code == 201
    assert answer.headers["cache-control"] == "no-store"
    return dict(answer.json())


def fetched(app: FastAPI, told: dict[str, str]) -> httpx.Response:
    said = {"code": told["code"], "secret": told["secret"]}
    return TestClient(app, base_url=ADDRESS).post("/api/v1/command-sign-ins/token", json=said)


def test_the_command_waits_for_the_browser_and_keeps_the_token(
    app: FastAPI, ada: Person, at_home: Path, capsys: pytest.CaptureFixture[str], monkeypatch
) -> None:
    failures: list[BaseException] = []
    monkeypatch.setattr(command.time, "sleep", lambda _s: time_sleep(0.05))

    def run() -> None:
        try:
            command.login(ADDRESS)
        except BaseException as error:  # shown by the test that waits
            failures.append(error)

    working = threading.Thread(target=run)
    working.start()
    shown = ""
    while "approve it" not in shown and not failures:
        time_sleep(0.05)
        shown += capsys.readouterr().out
    place = next(line.split()[-1] for line in shown.splitlines() if "Open" in line)
    code = shown.split()[-1]
    page = ada.open(place.removeprefix(ADDRESS))
    assert problems_of(ada.answer.text) == []
    assert code in text_of(page)
    assert "bench by the window" in text_of(page)
    page = ada.send("/account/command/approve")
    assert "is signed in" in text_of(page)
    working.join(timeout=60)
    assert failures == []
    token = stored_token(ADDRESS)
    assert token is not None
    assert tokens_file().stat().st_mode & 0o777 == 0o600
    assert tokens_file().is_relative_to(at_home)
    me = ada.client.get("/api/v1/testers/me", headers={"Authorization": f"Bearer {token}"})
    assert me.json()["name"] == "Ada Quill"
    assert me.json()["scopes"] == ["send"]
    assert "command, bench by the window" in text_of(ada.open("/account/tokens"))


time_sleep = time.sleep


def test_a_second_server_does_not_push_out_the_first(at_home: Path) -> None:
    command.keep_token("http://one.test/", "bl_one")
    command.keep_token("http://two.test", "bl_two")
    assert stored_token("http://one.test") == "bl_one"
    assert stored_token("http://two.test/") == "bl_two"


def test_nothing_is_fetched_before_it_is_approved_nor_twice(app: FastAPI, ada: Person) -> None:
    told = asked(app)
    assert fetched(app, told).json() == {"token": None}
    ada.open(told["address"].removeprefix(ADDRESS))
    # Looking changes nothing.
    assert fetched(app, told).json() == {"token": None}
    ada.send("/account/command/approve")
    wrong = {**told, "secret": "x" * 43}
    assert fetched(app, wrong).status_code == 410
    assert fetched(app, told).json()["token"].startswith("bl_")
    assert fetched(app, told).status_code == 410


def test_what_is_refused_stays_refused(app: FastAPI, ada: Person) -> None:
    told = asked(app)
    place = told["address"].removeprefix(ADDRESS)
    ada.open(place)
    sent = ada.answer
    page = ada.send("/account/command/refuse")
    assert "was refused" in text_of(page)
    ada.answer = sent
    ada.send("/account/command/approve")
    assert ada.answer.status_code == 410
    assert fetched(app, told).status_code == 403


def test_who_may_not_send_approves_nothing(app: FastAPI) -> None:
    cy = Person(app)
    cy.sign_up("Cy Tarn", "cy@bench.example")
    told = asked(app)
    cy.open(told["address"].removeprefix(ADDRESS))
    cy.send("/account/command/approve")
    assert cy.answer.status_code == 403
    assert fetched(app, told).json() == {"token": None}


def test_a_server_that_is_none_is_said() -> None:
    with pytest.raises(BenchledgerError, match="Check the address"):
        command.login("http://127.0.0.1:9")
