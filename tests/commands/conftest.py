"""A log and its bench file from the invented scenario, written where a test can hand them over."""

from dataclasses import dataclass
from pathlib import Path

import pytest

from seed_data.scenario import SeedRun, make
from seed_data.story import STORY


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
