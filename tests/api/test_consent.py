"""Consent to the data licence: asked of accounts once, answered for by whoever issued a token."""

from collections.abc import Callable

import pytest
import sqlalchemy as sa
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.issue_token import make_token
from server.actions.record_consent import DATA_LICENCE
from server.model.views import Tester
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.identity import new_public_id
from server.store.journal import OPERATOR, now
from tests.api.logs import parts

Headers = dict[str, str]
CONSENT = "/api/v1/testers/me/consent"


@pytest.fixture
def signed_up(app: FastAPI) -> Headers:
    """A token of somebody who signed up with an e-mail address."""
    with write_session(app.state.resources.engine) as session:
        row = t.TesterRow(
            public_id=new_public_id(), name="Cy Vale", created_at=now(), role="tester",
            email="cy@ledger.test", email_key="cy@ledger.test", password_hash="x",
        )  # fmt: skip
        session.add(row)
        session.flush()
        tester = Tester(row.id, row.public_id, row.name, frozenset({"send"}))
        made = make_token(
            session, tester=tester, scopes=("send",), days=1, label="x", actor=OPERATOR
        )
    return {"Authorization": f"Bearer {made.token}"}


def acts(app: FastAPI, kind: str) -> list[tuple[str, str]]:
    event = t.AuditEventRow
    with read_session(app.state.resources.engine) as session:
        rows = session.execute(
            sa.select(event.actor, event.act).where(event.act == kind).order_by(event.id)
        )
        return [(row.actor, row.act) for row in rows]


def test_a_run_by_somebody_never_asked_says_how(client: TestClient, signed_up: Headers) -> None:
    answer = client.post("/api/v1/runs", files=parts(), headers=signed_up)
    assert answer.status_code == 403
    assert CONSENT in answer.json()["detail"]
    assert client.get("/api/v1/testers/me", headers=signed_up).json()["consented_licence"] is None
    wrong = client.post(CONSENT, json={"licence": "MIT", "ties": [" "]}, headers=signed_up)
    assert wrong.status_code == 422
    assert {one["field"] for one in wrong.json()["problems"]} == {"licence", "ties"}
    told = client.post(
        CONSENT, json={"licence": DATA_LICENCE, "ties": ["Millbeck", " millbeck "]},
        headers=signed_up,
    )  # fmt: skip
    assert told.status_code == 200, told.text
    assert told.json()["ties"] == ["Millbeck"]
    assert client.post("/api/v1/runs", files=parts(), headers=signed_up).status_code == 201


def test_it_is_recorded_once(app: FastAPI, client: TestClient, signed_up: Headers) -> None:
    for ties in ([], ["Tollan"]):
        body = {"licence": DATA_LICENCE, "ties": ties}
        assert client.post(CONSENT, json=body, headers=signed_up).status_code == 200
    assert acts(app, "licence agreed to") == [("tester", "licence agreed to")]
    assert acts(app, "tie declared") == [("tester", "tie declared")]


def test_an_operator_answers_for_an_account_of_the_command(
    app: FastAPI, client: TestClient, new_token: Callable[..., str]
) -> None:
    sender = {"Authorization": f"Bearer {new_token('Di Marsh')}"}
    assert client.post("/api/v1/runs", files=parts(), headers=sender).status_code == 201
    me = client.get("/api/v1/testers/me", headers=sender).json()
    assert me["consented_licence"] == DATA_LICENCE
    assert acts(app, "licence agreed to") == [("operator", "licence agreed to")]


def test_a_date_ahead_by_the_api(client: TestClient, sender: Headers) -> None:
    dated = {**parts(), "not_before": (None, "soon")}
    refused = client.post("/api/v1/runs", files=dated, headers=sender)
    assert refused.status_code == 422
    assert refused.json()["problems"][0]["field"] == "not_before"
    ahead = now().date().replace(year=now().year + 1, day=1).isoformat()
    kept = client.post(
        "/api/v1/runs", files={**parts(), "not_before": (None, ahead)}, headers=sender
    )
    assert kept.status_code == 201, kept.text
    assert kept.json()["state"] == "waiting"
