"""What every answer passes through: headers, limits of the body, compression, HEAD."""

import json

import pytest
import zstandard
from fastapi import FastAPI
from fastapi.responses import HTMLResponse
from fastapi.testclient import TestClient

from server.app import create_app
from tests.api.logs import parts


def directives(policy: str) -> dict[str, list[str]]:
    return {words[0]: words[1:] for part in policy.split(";") if (words := part.split())}


@pytest.mark.parametrize("address", ["/healthz", "/api/v1/appliances", "/api/v1/nothing"])
def test_every_answer_is_harmless(client, address) -> None:
    headers = client.get(address).headers
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["referrer-policy"] == "strict-origin-when-cross-origin"
    assert "camera=()" in headers["permissions-policy"]
    assert directives(headers["content-security-policy"])["default-src"] == ["'none'"]
    assert directives(headers["content-security-policy"])["frame-ancestors"] == ["'none'"]


@pytest.fixture
def with_page(app: FastAPI) -> TestClient:
    from fastapi import Request

    def page(request: Request) -> HTMLResponse:
        return HTMLResponse(f"<p>{request.state.csp_nonce}</p>")

    app.add_api_route("/api/v1/page", page)
    return TestClient(app)


def test_a_page_may_run_only_what_carries_its_nonce(with_page) -> None:
    first, second = (with_page.get("/api/v1/page") for _ in range(2))
    policy = directives(first.headers["content-security-policy"])
    nonce = first.text.removeprefix("<p>").removesuffix("</p>")
    assert f"'nonce-{nonce}'" in policy["script-src"]
    assert f"'nonce-{nonce}'" in policy["style-src"]
    assert "'unsafe-inline'" not in first.headers["content-security-policy"]
    assert "'unsafe-eval'" not in first.headers["content-security-policy"]
    assert policy["base-uri"] == policy["frame-ancestors"] == ["'none'"]
    assert first.text != second.text


def test_an_unchanged_page_keeps_its_policy(client, run) -> None:
    address = f"/api/v1/runs/{run['id']}"
    etag = client.get(address).headers["etag"]
    answer = client.get(address, headers={"If-None-Match": etag})
    assert answer.status_code == 304
    assert "content-security-policy" not in answer.headers


def test_request_ids(client) -> None:
    given = client.get("/healthz", headers={"X-Request-Id": "from-the-proxy-1"})
    odd = client.get("/healthz", headers={"X-Request-Id": "a b"})
    assert given.headers["x-request-id"] == "from-the-proxy-1"
    assert odd.headers["x-request-id"] not in {
        "a b",
        client.get("/healthz").headers["x-request-id"],
    }


def test_head_is_get_without_its_body(client, run) -> None:
    address = f"/api/v1/runs/{run['id']}"
    head, get = client.head(address), client.get(address)
    assert (head.status_code, head.content) == (200, b"")
    assert head.headers["etag"] == get.headers["etag"]
    assert client.head("/api/v1/nothing").status_code == 404


@pytest.mark.parametrize("encoding", ["br", "gzip", "zstd"])
def test_answers_are_compressed(client, encoding) -> None:
    answer = client.get("/api/v1/problems", headers={"Accept-Encoding": encoding})
    assert answer.headers["content-encoding"] == encoding
    assert "Accept-Encoding" in answer.headers["vary"]
    if encoding == "zstd":  # which the client does not unpack
        assert json.loads(zstandard.ZstdDecompressor().decompressobj().decompress(answer.content))
    else:
        assert answer.json()["items"]


def test_a_compressed_answer_still_differs_by_who_asks(client, run) -> None:
    vary = client.get(f"/api/v1/runs/{run['id']}").headers["vary"]
    assert {"Authorization", "Cookie", "Accept-Encoding"} <= {w.strip() for w in vary.split(",")}


def test_licence_stands_with_the_data(client) -> None:
    assert 'rel="license"' in client.get("/api/v1/appliances").headers["link"]


def test_a_long_body_is_refused_by_its_told_length(client, sender) -> None:
    limit = client.post(
        "/api/v1/appliances",
        content=b"[" + b"1," * 600_000 + b"1]",
        headers={**sender, "Content-Type": "application/json"},
    )
    assert limit.status_code == 413
    assert limit.json()["type"] == "/api/v1/problems/too-large"


def test_a_long_body_is_refused_while_it_arrives(client, sender) -> None:
    def stream():
        for _ in range(20):
            yield b"x" * 100_000

    answer = client.post(
        "/api/v1/appliances", content=stream(), headers={**sender, "Content-Type": "text/plain"}
    )
    assert answer.status_code == 413
    assert "bytes" in answer.json()["detail"]


def test_a_log_over_the_limit_names_the_setting(sqlite_settings) -> None:
    app = create_app(sqlite_settings.model_copy(update={"max_upload_bytes": 2000}))
    from server.actions.issue_token import issue_token
    from server.store.database import write_session

    with write_session(app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    with TestClient(app) as client:
        answer = client.post(
            "/api/v1/runs", files=parts(), headers={"Authorization": f"Bearer {token}"}
        )
    assert answer.status_code == 413
    assert "BENCHLEDGER_MAX_UPLOAD_BYTES" in answer.json()["detail"]


def test_only_what_takes_a_log_takes_a_long_body(client, sender) -> None:
    body = b"x" * 1_200_000
    headers = {**sender, "Content-Type": "text/csv"}
    withdrawal = "/api/v1/runs/0000000000/withdrawal"
    assert client.post(withdrawal, content=body, headers=headers).status_code == 413
    assert client.post("/api/v1/runs", content=body, headers=headers).status_code == 422
