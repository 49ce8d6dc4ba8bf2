"""Every route, every refusal and every static file: the headers that keep an answer harmless."""

import re

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.app import create_app
from server.settings import Settings
from server.static_files import SOURCE, static_url
from tests.threats.route_rules import FORMS, RULES
from tests.threats.world import World

pytestmark = pytest.mark.xdist_group("who may")

FEATURES = ("camera", "geolocation", "microphone", "payment", "usb", "serial")
# Made by us, so shown in place; what people sent is a download or plain text.
SHOWN = ("text/html", "application/json", "application/problem+json", "image/svg+xml")


def check_headers(answer: object) -> list[str]:
    """What is wrong with an answer's headers."""
    headers = answer.headers  # type: ignore[attr-defined]
    wrong = []
    for name, value in (
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "strict-origin-when-cross-origin"),
        ("cross-origin-opener-policy", "same-origin"),
    ):
        if headers.get(name) != value:
            wrong.append(f"{name}: {headers.get(name)}")
    policy = headers.get("permissions-policy", "")
    wrong += [f"{f} is allowed" for f in FEATURES if f"{f}=()" not in policy]
    if "x-request-id" not in headers:
        wrong.append("no request id")
    if answer.status_code != 304:  # type: ignore[attr-defined]
        is_page = headers.get("content-type", "").startswith("text/html")
        wrong += check_policy(headers.get("content-security-policy", ""), is_page=is_page)
    return wrong


def check_policy(policy: str, *, is_page: bool) -> list[str]:
    parts = {words[0]: words[1:] for part in policy.split(";") if (words := part.split())}
    wrong = []
    if parts.get("default-src") != ["'none'"]:
        wrong.append(f"default-src {parts.get('default-src')}")
    if "unsafe" in policy or "*" in policy or "http:" in policy or "https:" in policy:
        wrong.append(f"too wide: {policy}")
    if not is_page:
        return wrong + ([] if "sandbox" in parts else ["what is no page is not sandboxed"])
    for name in ("script-src", "style-src"):
        own = [word for word in parts.get(name, []) if word != "'self'"]
        if len(own) != 1 or not re.fullmatch(r"'nonce-[\w-]{20,}'", own[0]):
            wrong.append(f"{name} {own}")
    for name, value in (
        ("base-uri", "'none'"),
        ("frame-ancestors", "'none'"),
        ("form-action", "'self'"),
    ):
        if parts.get(name) != [value]:
            wrong.append(f"{name} {parts.get(name)}")
    return wrong


@pytest.mark.parametrize("name", RULES, ids=lambda name: name.replace(" ", "_"))
def test_every_route_answers_with_them(world: World, name: str) -> None:
    """To somebody who is let in and to somebody who is not."""
    method, path = name.split(" ", 1)
    for door in ("administrator", "tester", "none"):
        asker = world.people[door]
        address, _ = world.address(path, owner=asker)
        answer = world.ask(method, address, asker=asker, form=FORMS.get(name, {}))
        assert check_headers(answer) == [], f"{door}: {answer.status_code} at {address}"
        check_kind(answer)


def check_kind(answer: object) -> None:
    """What a browser could take for a page of ours is one."""
    kind = answer.headers.get("content-type", "")  # type: ignore[attr-defined]
    kept = answer.headers.get("content-disposition", "")  # type: ignore[attr-defined]
    if kind and not kind.startswith((*SHOWN, "text/plain", "image/")):
        assert kept.startswith("attachment"), f"{kind} is shown in place"


@pytest.mark.parametrize(
    ("method", "address", "status"),
    [
        ("GET", "/nothing/here", 404),
        ("GET", "/api/v1/nothing", 404),
        ("GET", "/api/v1/runs/0000000000", 404),
        ("DELETE", "/appliances", 405),
        ("POST", "/api/v1/claims", 405),
        ("GET", "/api/v1/rigs", 401),
        ("GET", "/my-runs", 303),
        ("POST", "/sign-out", 403),
        ("GET", "/api/v1/runs?limit=none", 422),
        ("GET", "/static/none.css", 404),
        ("GET", "/static/../server/app.py", 404),
    ],
)
def test_refusals_have_them_too(world: World, method: str, address: str, status: int) -> None:
    answer = world.client.request(method, address)
    assert answer.status_code == status
    assert check_headers(answer) == []


def test_a_body_over_its_limit_too(world: World) -> None:
    token = world.people["tester"].token
    answer = world.client.post(
        "/api/v1/rigs", content=b"a" * (2 << 20), headers={"Authorization": f"Bearer {token}"}
    )
    assert answer.status_code == 413
    assert check_headers(answer) == []


@pytest.mark.parametrize("path", ["/api/v1/breaks", "/breaks"])
def test_a_defect_of_ours_too(sqlite_settings: Settings, path: str) -> None:
    app: FastAPI = create_app(sqlite_settings)

    def breaks() -> None:
        raise RuntimeError("a defect")

    app.add_api_route(path, breaks)
    with TestClient(app, raise_server_exceptions=False) as client:
        answer = client.get(path)
    assert answer.status_code == 500
    assert "a defect" not in answer.text
    assert check_headers(answer) == []


def test_every_static_file_has_them(world: World) -> None:
    paths = sorted(p.relative_to(SOURCE).as_posix() for p in SOURCE.rglob("*") if p.is_file())
    assert len(paths) > 5
    for path in paths:
        answer = world.client.get(static_url(path))
        assert answer.status_code == 200
        assert check_headers(answer) == [], path


def test_the_file_of_a_run_is_a_download(world: World) -> None:
    """As it was sent, but never as a page of ours."""
    sender = world.people["tester"]
    whole = f"/api/v1/runs/{sender.things['runs']}/file"
    answer = world.ask("GET", whole, asker=sender, form={})
    assert answer.headers["content-disposition"] == 'attachment; filename="sent.csv"'
    assert answer.headers["content-type"] == "application/octet-stream"
    assert check_headers(answer) == []
    # Some lines of it are text in the browser, which runs nothing.
    lines = f"/runs/{sender.things['runs']}/file?rows=1-3"
    answer = world.ask("GET", lines, asker=sender, form={})
    assert answer.headers["content-type"].startswith("text/plain")
    assert answer.headers["x-content-type-options"] == "nosniff"
    assert "sandbox" in answer.headers["content-security-policy"]
