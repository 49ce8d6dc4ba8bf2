"""The document says all that a client must know."""

import ast
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture
def document(client) -> dict:
    return client.get("/api/v1/openapi.json").json()


def operations(document: dict) -> list[tuple[str, str, dict]]:
    return [
        (method, path, operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def test_operation_ids_are_plain_and_unique(document) -> None:
    ids = [operation["operationId"] for _, _, operation in operations(document)]
    assert len(set(ids)) == len(ids)
    assert all(one.isidentifier() and "api_v1" not in one for one in ids)


def test_every_operation_says_what_it_does_and_what_it_refuses(document) -> None:
    for method, path, operation in operations(document):
        place = f"{method} {path}"
        assert operation["summary"], place
        assert operation["description"], place
        assert operation["tags"], place
        refused = [s for s in operation["responses"] if s[0] in "45"]
        assert "422" in refused, place
        for status in refused:
            content = operation["responses"][status]["content"]
            assert list(content) == ["application/problem+json"], f"{place} {status}"
        if "{" in path:
            assert "404" in refused, place


# How a token is come by.
NEEDS_NO_TOKEN = "/api/v1/command-sign-ins"
# What readers do without an account; a token that is sent must be good.
WITHOUT_TOKEN = {"/api/v1/concerns", "/api/v1/requests"}


def test_every_write_asks_for_a_token(document) -> None:
    for method, path, operation in operations(document):
        if method != "get" and not path.startswith(NEEDS_NO_TOKEN):
            wanted = [{}, {"token": []}] if path in WITHOUT_TOKEN else [{"token": []}]
            assert operation["security"] == wanted, path
            assert "401" in operation["responses"], path


def test_no_shape_of_the_framework_is_left(document) -> None:
    assert "HTTPValidationError" not in document["components"]["schemas"]
    assert "ProblemOut" in document["components"]["schemas"]


def test_lists_are_items_and_next(document) -> None:
    for method, path, operation in operations(document):
        if method != "get" or "list" not in operation["operationId"]:
            continue
        schema = operation["responses"]["200"]["content"]["application/json"]["schema"]
        shape = document["components"]["schemas"][schema["$ref"].rsplit("/", 1)[1]]
        assert set(shape["properties"]) == {"items", "next"}, path


def test_examples_of_what_is_sent_are_taken(client, sender, document) -> None:
    """Each field's example, put together, is a request that the server takes."""
    schemas = document["components"]["schemas"]

    def example(name: str) -> dict:
        return {
            field: schema["examples"][0]
            for field, schema in schemas[name]["properties"].items()
            if "examples" in schema
        }

    appliance = client.post("/api/v1/appliances", json=example("ApplianceIn"), headers=sender)
    assert appliance.status_code == 201, appliance.text
    address = appliance.headers["location"]
    sent = {
        f"{address}/plates": example("PlateIn"),
        f"{address}/claims": example("ClaimIn"),
        f"{address}/specimens": example("SpecimenIn"),
        "/api/v1/rigs": {**example("RigIn"), "instruments": [example("InstrumentIn")]},
    }
    for path, body in sent.items():
        answer = client.post(path, json=body, headers=sender)
        assert answer.status_code == 201, answer.text


def test_the_example_of_a_bench_is_taken(client, sender, document) -> None:
    import json

    from tests.api.logs import small_log

    content = document["paths"]["/api/v1/runs"]["post"]["requestBody"]["content"]
    schema = content["multipart/form-data"]["schema"]
    bench = {**schema["properties"]["bench"]["examples"][0], "columns": {}}
    files = {"bench": (None, json.dumps(bench)), "file": ("run.csv", small_log())}
    answer = client.post("/api/v1/runs", files=files, headers=sender)
    assert answer.status_code == 201, answer.text


STREAMS = {
    "server/pages/drafting.py",
    "server/pages/send_file.py",
    "server/pages/send_photos.py",
    "server/pages/send_readings.py",
    "server/pages/send_typed.py",
}


@pytest.mark.parametrize("room", ["api", "pages"])
def test_only_what_streams_a_body_is_async(room: str) -> None:
    """An `async def` around SQL or numbers would hold up every reader."""
    for path in sorted((ROOT / "server" / room).rglob("*.py")):
        found = [
            node.name
            for node in ast.walk(ast.parse(path.read_text()))
            if isinstance(node, ast.AsyncFunctionDef)
        ]
        assert not found or path.relative_to(ROOT).as_posix() in STREAMS, f"{path.name}: {found}"


def test_the_words_about_the_api_name_every_address(document) -> None:
    text = (ROOT / "docs" / "api.md").read_text()
    for path in document["paths"]:
        parts = [p for p in path.removeprefix("/api/v1").split("/") if p and not p.startswith("{")]
        assert all(part in text for part in parts), path
