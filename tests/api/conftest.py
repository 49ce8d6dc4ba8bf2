"""An application over a migrated database, a client of it, and tokens of testers."""

from collections.abc import Callable, Iterator

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.issue_token import issue_token
from server.app import create_app
from server.settings import Settings
from server.store.database import write_session
from tests.api.logs import parts

Headers = dict[str, str]


@pytest.fixture
def app(sqlite_settings: Settings) -> FastAPI:
    return create_app(sqlite_settings)


@pytest.fixture
def client(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, follow_redirects=False) as client:
        yield client


@pytest.fixture
def new_token(app: FastAPI) -> Callable[..., str]:
    def make(tester: str = "Ada Quill", scopes: tuple[str, ...] = ("send",)) -> str:
        with write_session(app.state.resources.engine) as session:
            return issue_token(session, tester=tester, scopes=scopes).token

    return make


@pytest.fixture
def token(new_token: Callable[..., str]) -> str:
    return new_token()


@pytest.fixture
def sender(token: str) -> Headers:
    return {"Authorization": f"Bearer {token}"}


@pytest.fixture
def stranger(new_token: Callable[..., str]) -> Headers:
    return {"Authorization": f"Bearer {new_token('Bo Marsh')}"}


@pytest.fixture
def run(client: TestClient, sender: Headers) -> dict[str, object]:
    """A published run, as the API answered it."""
    answer = client.post("/api/v1/runs", files=parts(), headers=sender)
    assert answer.status_code == 201, answer.text
    found: dict[str, object] = answer.json()
    return found
