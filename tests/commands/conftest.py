"""What tests of the command share: a log and its bench file; a ledger and a token for it."""

from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

import pytest
from sqlalchemy import Engine

from seed_data.scenario import SeedRun, make
from seed_data.story import STORY
from server.actions.issue_token import issue_token
from server.settings import Settings
from server.store.database import make_engine, write_session


@dataclass(frozen=True)
class SentFiles:
    run: SeedRun
    log: Path
    bench: Path


@pytest.fixture
def sent(tmp_path: Path) -> SentFiles:
    """The first sound run of the scenario that shows its peak."""
    for order, told in enumerate(STORY, start=1):
        if told.is_sound and told.is_bracketed:
            run, log, bench = make(order, told)
            (tmp_path / run.log).write_bytes(log)
            (tmp_path / run.bench).write_text(bench, encoding="utf-8")
            return SentFiles(run, tmp_path / run.log, tmp_path / run.bench)
    raise AssertionError("the scenario has no sound run")


@pytest.fixture
def ledger(sqlite_settings: Settings) -> Iterator[tuple[Settings, Engine, str]]:
    """Settings and engine of an empty ledger, and the token of a tester in it."""
    engine = make_engine(sqlite_settings)
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    yield sqlite_settings, engine, token
    engine.dispose()
