"""A served ledger with the first runs of the scenario, and a real Chromium to read it with."""

import os
import socket
import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from urllib.error import URLError
from urllib.request import urlopen

import pytest
from playwright.sync_api import Browser, ConsoleMessage, Page

from seed_data import scenario
from server.actions.enrol_tester import enrol_tester
from server.actions.issue_token import issue_token
from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.submit_run import submit_run
from server.intake import read_bench
from server.settings import Settings
from server.static_files import build_static
from server.store.database import make_engine, migrate, write_session
from server.store.files import keep_upload_from

ROOT = Path(__file__).parents[2]
# Three appliances of two kinds; the two vacuums are printed in one order, measured in the other.
LOADED = (6, 1, 2)
SENT = 8


@dataclass(frozen=True, slots=True)
class Ledger:
    """`log` is a log that has not been sent yet; `letters` the folder of what went by e-mail."""

    address: str
    token: str
    log: Path
    settings: Settings

    @property
    def letters(self) -> Path:
        return letters_of(self.settings)


@pytest.fixture(scope="session")
def ledger(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Ledger]:
    folder = tmp_path_factory.mktemp("ledger")
    runs = scenario.write(folder / "logs")
    settings = Settings(data=folder / "data")
    settings.data.mkdir()
    build_static()
    migrate(settings)
    engine = make_engine(settings)
    by_order = {run.order: run for run in runs}
    for order in LOADED:
        _load(engine, settings, folder / "logs", by_order[order])
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    engine.dispose()
    log = folder / "logs" / by_order[SENT].log
    with _served(settings) as address:
        yield Ledger(address, token, log, settings)


def _load(engine, settings: Settings, logs: Path, run) -> None:  # type: ignore[no-untyped-def]
    bench = read_bench((logs / run.bench).read_bytes(), name=run.bench)
    upload = keep_upload_from(settings.files, logs / run.log, name=run.log)
    prepared = prepare_run(
        upload.path,
        file_name=run.log,
        bench=bench,
        limits=limits_of(settings),
    )
    with write_session(engine) as session:
        tester = enrol_tester(session, name=run.tester)
        submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)


def letters_of(settings: Settings) -> Path:
    """Where the service puts what it would send by e-mail."""
    return settings.data.parent / "letters"


class _served:
    """One web process of its own on a free port; `set_to` are further settings of it."""

    def __init__(self, settings: Settings, **set_to: str) -> None:
        self._settings = settings
        self._set_to = {f"BENCHLEDGER_{name.upper()}": value for name, value in set_to.items()}

    def __enter__(self) -> str:
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            port = probe.getsockname()[1]
        environment = {
            **os.environ,
            **self._set_to,
            "BENCHLEDGER_DATA": str(self._settings.data),
            "BENCHLEDGER_MAIL": "folder",
            "BENCHLEDGER_MAIL_FOLDER": str(letters_of(self._settings)),
        }
        self._process = subprocess.Popen(
            [sys.executable, "-m", "uvicorn", "--factory", "server.app:create_app",
             "--port", str(port), "--log-level", "warning"],
            cwd=ROOT, env=environment,
        )  # fmt: skip
        address = f"http://127.0.0.1:{port}"
        for _ in range(240):
            try:
                urlopen(f"{address}/healthz", timeout=2).close()
            except URLError:
                assert self._process.poll() is None, "the service ended while it started"
                time.sleep(0.25)
            else:
                return address
        raise AssertionError("the service did not answer within a minute")

    def __exit__(self, *_: object) -> None:
        self._process.terminate()
        self._process.wait(timeout=30)


def is_fault(message: ConsoleMessage, provoked: str = "status of 422") -> bool:
    """Any error but what a test provokes: a refusal, or the words it names itself."""
    return message.type == "error" and provoked not in message.text


@pytest.fixture
def open_page(browser: Browser, ledger: Ledger) -> Iterator[Callable[..., Page]]:
    """Opens an address in a fresh window of a given width; faults of the page fail the test."""
    contexts = []
    faults: list[str] = []

    def make(
        path: str,
        *,
        width: int = 1280,
        is_dark: bool = False,
        has_scripts: bool = True,
        has_touch: bool = False,
        provoked: str = "status of 422",
    ) -> Page:
        context = browser.new_context(
            base_url=ledger.address,
            viewport={"width": width, "height": 844},
            color_scheme="dark" if is_dark else "light",
            java_script_enabled=has_scripts,
            has_touch=has_touch,
            is_mobile=has_touch,
        )
        contexts.append(context)
        page = context.new_page()
        page.on("pageerror", lambda error: faults.append(str(error)))
        page.on("console", lambda m: faults.append(m.text) if is_fault(m, provoked) else None)
        page.goto(path)
        return page

    yield make
    for context in contexts:
        context.close()
    assert faults == []
