"""What lets somebody in is nowhere on record in a form that could be used."""

from pathlib import Path

import pytest
from fastapi.testclient import TestClient

from server.actions.issue_token import issue_token
from server.app import create_app
from server.settings import Settings
from server.sign_in import cookie_name
from server.store.database import write_session

HEADERS = {"Sec-Fetch-Site": "same-origin"}


def test_no_token_and_no_cookie_can_be_read_from_the_data_folder(
    sqlite_settings: Settings,
) -> None:
    """Whoever steals a backup has the digests alone."""
    app = create_app(sqlite_settings)
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill", scopes=("send", "maintain")).token
    with TestClient(app, follow_redirects=False) as client:
        client.get("/api/v1/testers/me", headers={"Authorization": f"Bearer {token}"})
        client.post("/send", headers=HEADERS, files={"file": ("a.csv", "time,power\n0,1\n1,2\n")})
        cookie = client.cookies[cookie_name(sqlite_settings)]
    app.state.resources.engine.dispose()
    for path in Path(sqlite_settings.data).rglob("*"):
        if path.is_file():
            content = path.read_bytes()
            assert token.encode() not in content, path.name
            assert token.removeprefix("bl_").encode() not in content, path.name
            assert cookie.encode() not in content, path.name


@pytest.mark.parametrize("address", ["/", "/my-runs", "/api/v1/tokens", "/api/v1/testers/me"])
def test_no_answer_shows_a_token_again(sqlite_settings: Settings, address: str) -> None:
    app = create_app(sqlite_settings)
    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    with TestClient(app, follow_redirects=False) as client:
        answer = client.get(address, headers={"Authorization": f"Bearer {token}"})
    assert answer.status_code == 200
    assert token not in answer.text
