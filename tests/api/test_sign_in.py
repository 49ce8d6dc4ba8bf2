"""Signing in to the pages, and that no other site can act through a browser that is signed in."""

from types import SimpleNamespace

import pytest
from bs4 import BeautifulSoup
from fastapi import Request

from server.errors import NotAllowed
from server.settings import Settings
from server.sign_in import check_form, check_same_site, csrf_token, safe_next

COOKIE = "benchledger_session"


def request_with(*, method: str = "POST", secure: bool = False, **headers: str) -> Request:
    settings = Settings(secure_cookies=secure, public_url="https://bench.example")
    scope = {
        "type": "http",
        "method": method,
        "path": "/sign-out",
        "query_string": b"",
        "headers": [
            (name.replace("_", "-").encode(), value.encode()) for name, value in headers.items()
        ],
        "app": SimpleNamespace(state=SimpleNamespace(settings=settings)),
    }
    return Request(scope)


def signed_in(key: str = "k" * 43, **headers: str) -> Request:
    return request_with(cookie=f"{COOKIE}={key}", host="bench.example", **headers)


def test_a_form_of_this_session_is_taken() -> None:
    request = signed_in(sec_fetch_site="same-origin")
    first, second = csrf_token(request), csrf_token(request)
    assert first != second
    check_form(request, first)
    check_form(request, second)


@pytest.mark.parametrize("form_token", [None, "", "abc", "é", "A" * 88, "=" * 88])
def test_a_form_without_its_token_is_refused(form_token: str | None) -> None:
    with pytest.raises(NotAllowed):
        check_form(signed_in(sec_fetch_site="same-origin"), form_token)


def test_the_token_of_another_session_is_refused() -> None:
    other = csrf_token(signed_in("o" * 43))
    with pytest.raises(NotAllowed):
        check_form(signed_in(), other)


def test_a_token_without_a_cookie_is_refused() -> None:
    form_token = csrf_token(signed_in())
    with pytest.raises(NotAllowed):
        check_form(request_with(host="bench.example"), form_token)


@pytest.mark.parametrize(
    ("headers", "is_ours"),
    [
        ({"sec_fetch_site": "same-origin"}, True),
        ({"sec_fetch_site": "none"}, True),
        ({"sec_fetch_site": "same-site"}, False),
        ({"sec_fetch_site": "cross-site"}, False),
        ({"sec_fetch_site": "cross-site", "origin": "https://bench.example"}, False),
        ({"origin": "https://bench.example"}, True),
        ({"origin": "http://bench.example"}, True),
        ({"origin": "https://other.example"}, False),
        ({"origin": "https://bench.example.other.example"}, False),
        ({"origin": "null"}, False),
        ({}, True),
    ],
)
def test_a_change_that_another_site_caused_is_refused(headers, is_ours: bool) -> None:
    request = signed_in(**headers)
    if is_ours:
        check_same_site(request)
        assert request.method == "POST"
    else:
        with pytest.raises(NotAllowed):
            check_same_site(request)


@pytest.mark.parametrize(
    ("address", "target"),
    [
        ("/send?step=2", "/send?step=2"),
        ("/", "/"),
        (None, "/"),
        ("", "/"),
        ("https://other.example", "/"),
        ("//other.example", "/"),
        ("/\\other.example", "/"),
        ("/a\\b", "/"),
        ("/a\r\nSet-Cookie: x", "/"),
        ("javascript:alert(1)", "/"),
    ],
)
def test_signing_in_leads_to_this_site_only(address: str | None, target: str) -> None:
    assert safe_next(address) == target


def form_token_of(html: str) -> str:
    field = BeautifulSoup(html, "html.parser").find("input", {"name": "csrf_token"})
    assert field is not None
    return str(field["value"])


def sign_in(client, token: str):
    return client.post(
        "/sign-in",
        data={"token": token, "next": "/my-runs"},
        headers={"Sec-Fetch-Site": "same-origin"},
    )


def test_a_sign_in_from_beginning_to_end(client, token) -> None:
    closed = client.get("/my-runs")
    assert (closed.status_code, closed.headers["location"]) == (303, "/sign-in?next=%2Fmy-runs")
    answer = sign_in(client, token)
    assert (answer.status_code, answer.headers["location"]) == (303, "/my-runs")
    cookie = answer.headers["set-cookie"]
    assert "HttpOnly" in cookie
    assert "samesite=lax" in cookie.lower()
    assert token not in cookie
    page = client.get("/my-runs")
    assert page.status_code == 200
    key = client.cookies[COOKIE]
    refused = client.post("/sign-out", data={"csrf_token": "none"})
    assert refused.status_code == 403
    left = client.post("/sign-out", data={"csrf_token": form_token_of(page.text)})
    assert left.status_code == 303
    assert COOKIE not in client.cookies
    # Ended on the server too: the old cookie opens nothing.
    client.cookies.set(COOKIE, key)
    assert client.get("/my-runs").status_code == 303


def test_a_wrong_token_signs_nobody_in(client) -> None:
    answer = sign_in(client, "bl_wrong")
    assert answer.status_code == 422
    assert "set-cookie" not in answer.headers


def test_another_site_signs_nobody_in(client, token) -> None:
    answer = client.post(
        "/sign-in", data={"token": token}, headers={"Sec-Fetch-Site": "cross-site"}
    )
    assert answer.status_code == 403
    assert "set-cookie" not in answer.headers


def test_a_revoked_token_ends_its_sign_ins(client, token, sender) -> None:
    assert sign_in(client, token).status_code == 303
    (one,) = client.get("/api/v1/tokens", headers=sender).json()["items"]
    assert client.delete(f"/api/v1/tokens/{one['id']}", headers=sender).status_code == 204
    assert client.get("/my-runs").status_code == 303


def test_a_cookie_reads_the_api_but_never_writes_it(client, token, run) -> None:
    assert sign_in(client, token).status_code == 303
    assert client.get("/api/v1/testers/me").status_code == 200
    answer = client.post("/api/v1/rigs", json={}, headers={"Sec-Fetch-Site": "same-origin"})
    assert answer.status_code == 401


def test_with_tls_the_cookie_is_bound_to_the_host(sqlite_settings, new_token) -> None:
    from fastapi.testclient import TestClient

    from server.app import create_app

    app = create_app(sqlite_settings.model_copy(update={"secure_cookies": True}))
    with TestClient(app, base_url="https://testserver", follow_redirects=False) as client:
        answer = sign_in(client, new_token())
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-benchledger_session=")
        assert "Secure" in cookie
        assert "Domain" not in cookie
        assert answer.headers["strict-transport-security"] == "max-age=31536000"
        assert client.get("/my-runs").status_code == 200
