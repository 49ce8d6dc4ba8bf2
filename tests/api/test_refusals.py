"""Every refusal is a problem document on the API, whoever makes it."""

import pytest

from server.problems.kinds import KINDS


@pytest.mark.parametrize(
    ("method", "address", "status", "kind"),
    [
        ("GET", "/api/v1/runs/0000000000", 404, "not-found"),
        ("GET", "/api/v1/runs/no-id", 404, "not-found"),
        ("GET", "/api/v1/nothing", 404, "not-found"),
        ("GET", "/api/nothing", 404, "not-found"),
        ("PUT", "/api/v1/runs", 405, "method-not-allowed"),
        ("DELETE", "/api/v1/appliances", 405, "method-not-allowed"),
        ("GET", "/api/v1/appliances?limit=none", 422, "invalid-input"),
        ("GET", "/api/v1/appliances?sort=colour", 422, "invalid-input"),
        ("GET", "/api/v1/appliances?colour=red", 422, "invalid-input"),
        ("GET", "/api/v1/appliances?cursor=abc", 422, "invalid-input"),
        ("GET", "/api/v1/runs?mine=true", 401, "sign-in-needed"),
        ("GET", "/api/v1/problems/none", 404, "not-found"),
    ],
)
def test_a_refusal_is_a_problem_document(client, method, address, status, kind) -> None:
    answer = client.request(method, address)
    assert answer.status_code == status
    assert answer.headers["content-type"] == "application/problem+json"
    problem = answer.json()
    assert problem["type"] == f"/api/v1/problems/{kind}"
    assert problem["status"] == status
    assert problem["title"] == KINDS[kind].title
    assert problem["request_id"] == answer.headers["x-request-id"]
    # The type's address says what it means.
    assert client.get(problem["type"]).json()["title"] == problem["title"]


def test_405_names_what_is_taken(client) -> None:
    assert "GET" in client.put("/api/v1/runs").headers["allow"]


def test_a_wrong_value_is_named_with_its_field(client) -> None:
    problem = client.get("/api/v1/appliances?limit=none&shaft_power_max_steady_min=x").json()
    fields = {one["field"] for one in problem["problems"]}
    assert fields == {"limit", "shaft_power_max_steady_min"}


def test_a_defect_tells_no_secret(app, sqlite_settings) -> None:
    from fastapi.testclient import TestClient

    def broken() -> None:
        raise RuntimeError("the secret")

    app.add_api_route("/api/v1/broken", broken)
    with TestClient(app, raise_server_exceptions=False) as client:
        answer = client.get("/api/v1/broken")
    assert answer.status_code == 500
    problem = answer.json()
    assert problem["type"] == "/api/v1/problems/defect"
    assert problem["request_id"]
    assert "secret" not in answer.text


def test_the_kinds_are_a_list(client) -> None:
    answer = client.get("/api/v1/problems").json()
    assert {item["type"] for item in answer["items"]} == {f"/api/v1/problems/{w}" for w in KINDS}
    assert answer["next"] is None
