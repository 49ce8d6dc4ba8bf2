"""The page of the journal's heads, its text and key, and that they can be checked by hand."""

from base64 import b64decode
from datetime import timedelta
from pathlib import Path

import pytest
from cryptography.exceptions import InvalidSignature
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey
from cryptography.hazmat.primitives.serialization import load_pem_public_key
from fastapi import FastAPI
from fastapi.testclient import TestClient
from sqlalchemy import Engine, update

from server.actions.seal_journal import seal_journal
from server.actions.sign_journal import publish_heads, sign_journal
from server.credentials.signing import read_heads
from server.errors import BenchledgerError, Conflict
from server.settings import Settings
from server.store import tables as t
from server.store.database import make_engine, read_session, write_session
from server.store.heads import list_heads
from server.store.journal import OPERATOR, now, record
from tests.pages.reading import parsed, problems_of, text_of

DAY = timedelta(hours=24)


def seal(engine: Engine) -> None:
    with write_session(engine) as session:
        record(session, actor=OPERATOR, act="x", subject_kind="run", subject_id=1)
    with write_session(engine) as session:
        seal_journal(session)


def sign(engine: Engine, data: Path, *, after: timedelta = timedelta(0)) -> bool:
    with write_session(engine) as session:
        head = sign_journal(session, data=data, at=now() + after)
    with read_session(engine) as session:
        publish_heads(session, data=data)
    return head is not None


@pytest.fixture
def signed(app: FastAPI) -> FastAPI:
    engine = app.state.resources.engine
    data = app.state.settings.data
    seal(engine)
    assert sign(engine, data)
    seal(engine)
    assert sign(engine, data, after=DAY)
    return app


def test_before_the_first_head_the_page_says_so(browser_without_scripts: TestClient) -> None:
    answer = browser_without_scripts.get("/journal")
    assert answer.status_code == 200
    assert problems_of(answer.text) == []
    assert "No head has been signed yet" in text_of(parsed(answer.text))
    assert browser_without_scripts.get("/journal/head").status_code == 404
    assert browser_without_scripts.get("/journal/key").status_code == 404
    assert browser_without_scripts.get("/api/v1/journal/heads").json() == {
        "items": [],
        "next": None,
    }


def test_the_page_shows_the_newest_and_lists_the_earlier(
    signed: FastAPI, browser_without_scripts: TestClient
) -> None:
    answer = browser_without_scripts.get("/journal")
    assert problems_of(answer.text) == []
    soup = parsed(answer.text)
    shown = soup.find("pre")
    assert shown is not None
    text = browser_without_scripts.get("/journal/head").text
    assert shown.get_text() == text
    assert len(soup.select("tbody tr")) == 1
    items = browser_without_scripts.get("/api/v1/journal/heads").json()["items"]
    assert len(items) == 2
    assert items[0]["text"] == text
    assert items[0]["entries"] > items[1]["entries"]


def test_a_head_can_be_checked_as_the_page_says(
    signed: FastAPI, browser_without_scripts: TestClient
) -> None:
    """Five lines, each with its end; the sixth holds the signature in base64."""
    key = load_pem_public_key(browser_without_scripts.get("/journal/key").content)
    assert isinstance(key, Ed25519PublicKey)
    lines = browser_without_scripts.get("/journal/head").content.splitlines(keepends=True)
    assert len(lines) == 6
    message = b"".join(lines[:5])
    signature = b64decode(lines[5].split(b" ")[1])
    key.verify(signature, message)
    with pytest.raises(InvalidSignature):
        key.verify(signature, message.replace(b"entries: ", b"entries: 1"))


def test_the_private_key_is_nowhere_to_be_had(
    signed: FastAPI, browser_without_scripts: TestClient
) -> None:
    for address in ("/journal", "/journal/key", "/journal/head", "/api/v1/journal/heads"):
        assert "PRIVATE" not in browser_without_scripts.get(address).text


@pytest.fixture
def engine(settings: Settings):
    engine = make_engine(settings)
    yield engine
    engine.dispose()


def test_one_head_a_day_and_none_where_nothing_happened(settings: Settings, engine: Engine) -> None:
    assert not sign(engine, settings.data)  # nothing is sealed
    seal(engine)
    assert sign(engine, settings.data)
    seal(engine)
    assert not sign(engine, settings.data, after=DAY - timedelta(minutes=1))
    assert sign(engine, settings.data, after=DAY)
    assert not sign(engine, settings.data, after=3 * DAY)
    published = read_heads((settings.data / "journal-heads.txt").read_text(), name="heads")
    with read_session(engine) as session:
        assert tuple(reversed(published)) == list_heads(session)
    assert len(published) == 2


def test_no_head_is_signed_over_a_chain_that_lost_the_last_one(
    settings: Settings, engine: Engine
) -> None:
    seal(engine)
    assert sign(engine, settings.data)
    seal(engine)
    with write_session(engine) as session:
        session.execute(update(t.AuditHeadRow).values(n_seals=2))
    with write_session(engine) as session, pytest.raises(Conflict, match="benchledger verify"):
        sign_journal(session, data=settings.data, at=now() + DAY)


def test_a_published_head_is_never_taken_out(settings: Settings, engine: Engine) -> None:
    seal(engine)
    assert sign(engine, settings.data)
    path = settings.data / "journal-heads.txt"
    before = path.read_text()
    with write_session(engine) as session:
        session.execute(t.AuditHeadRow.__table__.delete())
    seal(engine)
    assert sign(engine, settings.data)
    assert path.read_text().startswith(before)
    assert len(read_heads(path.read_text(), name="heads")) == 2


def test_what_is_no_key_is_not_overwritten(settings: Settings, engine: Engine) -> None:
    (settings.data / "journal-key.pem").write_text("something else")
    seal(engine)
    with write_session(engine) as session, pytest.raises(BenchledgerError, match="Ed25519"):
        sign_journal(session, data=settings.data, at=now())
    assert (settings.data / "journal-key.pem").read_text() == "something else"


def test_heads_of_an_earlier_key_can_still_be_checked(settings: Settings, engine: Engine) -> None:
    from server.actions.check_heads import check_heads, kept_heads

    seal(engine)
    assert sign(engine, settings.data)
    (settings.data / "journal-key.pem").unlink()
    seal(engine)
    assert sign(engine, settings.data, after=DAY)
    with read_session(engine) as session:
        heads = kept_heads(session, data=settings.data)
        assert len({head.key_id for _, head in heads}) == 2
        assert list(check_heads(session, data=settings.data, heads=heads)) == []
