"""A photograph from sending to the run's page: who sees it, what is left of it."""

import threading
from collections.abc import Callable

import sqlalchemy as sa
from bs4 import BeautifulSoup
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.keep_photo import remove_loose_photos
from server.actions.sweep_files import sweep_files
from server.store import tables as t
from server.store.database import read_session, write_session
from server.worker import work_once
from tests.api.logs import small_log
from tests.intake.test_photo import SECRET, photo
from tests.pages.reading import problems_of, text_of
from tests.pages.test_routes import fields_of, go_on, opened, signed_in, upload

Browser = TestClient


def work(app: FastAPI) -> None:
    engine, settings = app.state.resources.engine, app.state.settings
    while work_once(engine, settings, worker=f"test-{threading.get_ident()}"):
        pass


def add(browser: Browser, start: str, data: bytes, subject: str = "plate", step: str = "appliance"):  # type: ignore[no-untyped-def]
    fields = fields_of(opened(browser, f"{start}/{step}"), f"{start}/photos")
    fields.pop("photo")
    return browser.post(
        f"{start}/photos", data=fields | {"subject": subject}, files={"photo": ("p.jpg", data)}
    )


def shown(page: BeautifulSoup) -> list[str]:
    return [str(img["src"]) for img in page.select("#photos img")]


def test_a_photograph_goes_along_to_the_run(
    browser_without_scripts: Browser, new_token: Callable[[], str], app: FastAPI
) -> None:
    browser = signed_in(browser_without_scripts, new_token())
    start = upload(browser, small_log()).removesuffix("/columns")
    answer = add(browser, start, photo())
    assert answer.status_code == 200, answer.text
    page = opened(browser, f"{start}/appliance")
    assert "being drawn" in text_of(page)
    assert shown(page) == []
    work(app)
    page = opened(browser, f"{start}/appliance")
    (src,) = shown(page)
    first = browser.get(src)
    assert first.headers["content-type"] == "image/jpeg"
    assert first.headers["x-content-type-options"] == "nosniff"
    assert SECRET not in first.content
    # A part is covered, and the uncovered picture is not shown any more.
    action = page.select_one("#photos .photo form")["action"]
    fields = fields_of(page, action)
    cover = {"left": "0", "top": "0", "right": "50", "bottom": "50,5", "act": "cover"}
    assert browser.post(action, data=fields | cover).status_code == 200
    work(app)
    assert browser.get(src).content != first.content
    stranger = TestClient(app, base_url="http://ledger.test")
    assert stranger.get(src).status_code == 404
    go_on(browser, f"{start}/appliance", appliance__maker="Osk", appliance__model="Photo")
    figures = go_on(browser, f"{start}/rig")
    run = browser.post(f"{start}/send", data=fields_of(figures, f"{start}/send"))
    assert problems_of(run.text) == []
    assert stranger.get(src).status_code == 200
    assert stranger.get(f"{src}?size=small").status_code == 200
    soup = BeautifulSoup(stranger.get(str(run.url.path)).text, "html.parser")
    assert soup.select_one(".photos img")["src"] == f"{src}?size=small"


def test_what_was_sent_is_gone_once_it_is_drawn(
    browser_without_scripts: Browser, app: FastAPI
) -> None:
    browser = browser_without_scripts
    start = upload(browser, small_log()).removesuffix("/columns")
    add(browser, start, photo(), subject="rig", step="rig")
    work(app)
    engine, files = app.state.resources.engine, app.state.settings.files
    sweep_files(engine, files=files, min_age_s=0)
    held = [p.read_bytes() for p in (files / "originals").rglob("*") if p.is_file()]
    assert not any(SECRET in content for content in held)
    assert shown(opened(browser, f"{start}/rig")) != []
    discard = fields_of(opened(browser, f"{start}/rig"), f"{start}/discard")
    browser.post(f"{start}/discard", data=discard)
    with write_session(engine) as session:
        assert remove_loose_photos(session) == 1
    sweep_files(engine, files=files, min_age_s=0)
    with read_session(engine) as session:
        assert session.execute(sa.select(t.PhotoRow)).all() == []
        stored = set(session.execute(sa.select(t.StoredFileRow.sha256)).scalars())
    assert {p.name for p in (files / "originals").rglob("*") if p.is_file()} == stored


def test_a_photograph_that_can_not_be_drawn_says_why(
    browser_without_scripts: Browser, app: FastAPI
) -> None:
    browser = browser_without_scripts
    start = upload(browser, small_log()).removesuffix("/columns")
    refused = add(browser, start, b"<svg onload=alert(1)>")
    assert refused.status_code == 422
    assert "This log" not in refused.text
    add(browser, start, photo()[:500])
    work(app)
    page = opened(browser, f"{start}/appliance")
    assert "The picture is damaged" in text_of(page) or "damaged" in text_of(page)
    assert shown(page) == []
    action = page.select_one("#photos .photo form")["action"]
    browser.post(action, data=fields_of(page, action) | {"act": "remove"})
    assert opened(browser, f"{start}/appliance").select("#photos .photo") == []
