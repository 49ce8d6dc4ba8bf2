"""Moderation over the API: queue, case, moves, reports, answers; scopes, locks, public fields."""

from collections.abc import Callable

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from tests.api.logs import BENCH, parts

V1 = "/api/v1"
Headers = dict[str, str]


@pytest.fixture
def app(sqlite_settings: Settings) -> FastAPI:
    strict = {"standing_runs": 5, "first_run_waits": True}
    return create_app(sqlite_settings.model_copy(update=strict))


@pytest.fixture
def maintainer(new_token: Callable[..., str]) -> Headers:
    return {"Authorization": f"Bearer {new_token('Bo Finch', ('send', 'maintain'))}"}


@pytest.fixture
def waiting(client: TestClient, sender: Headers) -> str:
    sent = client.post(f"{V1}/runs", files=parts(), headers=sender)
    assert sent.json()["state"] == "waiting", sent.text
    return str(sent.json()["id"])


def test_a_run_is_decided_on(
    client: TestClient, sender: Headers, maintainer: Headers, waiting: str
) -> None:
    (item,) = client.get(f"{V1}/desk", headers=maintainer).json()["items"]
    assert (item["kind"], item["id"], item["is_barred"]) == ("first", waiting, False)
    case = client.get(f"{V1}/runs/{waiting}/case", headers=maintainer).json()
    assert case["first_run"] is True
    assert case["tester"]["name"] == "Ada Quill"
    moves = f"{V1}/runs/{waiting}/moves"
    back = {
        "to": "returned", "version": case["version"],
        "remarks": [{"field": "plate.voltage", "text": "230 V?"}],
    }  # fmt: skip
    assert client.post(moves, json=back, headers=maintainer).json()["state"] == "returned"
    late = client.post(moves, json=back, headers=maintainer)
    assert late.status_code == 409
    assert "Bo Finch" in late.json()["detail"]
    case = client.get(f"{V1}/runs/{waiting}/case", headers=maintainer).json()
    assert [one["field"] for one in case["remarks"]] == ["plate.voltage"]
    contest = {"text": "The plate says 120 V."}
    made = client.post(f"{V1}/runs/{waiting}/contests", json=contest, headers=sender)
    assert made.status_code == 201
    settle = {"outcome": "waits", "version": 0, "answer": "Right."}
    address = f"{V1}/concerns/{made.json()['id']}"
    assert client.post(f"{address}/settlement", json=settle, headers=maintainer).status_code == 403


def test_a_wrong_field_says_what_is_taken(
    client: TestClient, maintainer: Headers, waiting: str
) -> None:
    back = {"to": "returned", "version": 1, "remarks": [{"field": "plate.colour", "text": "Red?"}]}
    answer = client.post(f"{V1}/runs/{waiting}/moves", json=back, headers=maintainer)
    assert answer.status_code == 422
    assert "plate.voltage" in answer.json()["detail"]


def test_scopes(client: TestClient, sender: Headers, waiting: str) -> None:
    for headers, status in (({}, 401), (sender, 403)):
        assert client.get(f"{V1}/desk", headers=headers).status_code == status
        assert client.get(f"{V1}/runs/{waiting}/case", headers=headers).status_code == status
        move = {"to": "published", "version": 1}
        path = f"{V1}/runs/{waiting}/moves"
        assert client.post(path, json=move, headers=headers).status_code == status


def test_reports_need_no_token_and_hide_the_contact(
    client: TestClient, maintainer: Headers, waiting: str
) -> None:
    told = {"run": waiting, "text": "Something is off here.", "contact": "r@example.org"}
    assert client.post(f"{V1}/concerns", json=told).status_code == 404  # not public yet
    move = {"to": "published", "version": 1}
    client.post(f"{V1}/runs/{waiting}/moves", json=move, headers=maintainer)
    made = client.post(f"{V1}/concerns", json=told)
    assert made.status_code == 201, made.text
    address = f"{V1}/concerns/{made.json()['id']}"
    assert client.get(address).json()["contact"] is None
    assert client.get(address, headers=maintainer).json()["contact"] == "r@example.org"
    settle = {"outcome": "stands", "version": 0, "answer": "Looked at twice."}
    done = client.post(f"{address}/settlement", json=settle, headers=maintainer)
    assert done.status_code == 201
    assert client.get(address).json()["answer"] == "Looked at twice."


def test_answers_to_a_claim(
    client: TestClient, sender: Headers, maintainer: Headers, waiting: str
) -> None:
    claim = client.get(f"{V1}/claims").json()["items"][0]["id"]
    path = f"{V1}/claims/{claim}/statements"
    note = {"text": "Asked; answer: at the peak.", "source": "letter"}
    made = client.post(path, json=note, headers=sender)
    assert made.status_code == 201, made.text
    assert client.get(path).json()["items"][0]["text"] == note["text"]
    refused = client.post(path, json=note | {"kind": "maker"}, headers=sender)
    assert refused.status_code == 403
    removal = f"{V1}/statements/{made.json()['id']}/removal"
    assert client.post(removal, json={"reason": "Not so."}, headers=sender).status_code == 403
    client.post(removal, json={"reason": "Not so."}, headers=maintainer)
    (left,) = client.get(path).json()["items"]
    assert (left["text"], left["reason"]) == (None, "Not so.")


def test_the_queue_is_paged(
    client: TestClient, sender: Headers, maintainer: Headers, waiting: str
) -> None:
    for number in range(4):
        named = {"maker": "Millbeck", "model": f"New {number}", "category": "blender"}
        bench = {**BENCH, "appliance": named}
        client.post(f"{V1}/runs", files=parts(bench=bench), headers=sender)
    seen, cursor = [], ""
    for _ in range(3):
        address = f"{V1}/desk?limit=2{cursor}"
        page = client.get(address, headers=maintainer).json()
        seen += [item["id"] for item in page["items"]]
        if page["next"] is None:
            break
        cursor = f"&cursor={page['next']}"
    assert len(seen) == len(set(seen)) == 5
    assert seen[0] == waiting
    blenders = client.get(f"{V1}/desk?category=blender", headers=maintainer).json()["items"]
    assert len(blenders) == 4
