"""Testers of the demo scenario: those who measured a worn piece stand apart, the others agree."""

from pathlib import Path

import pytest

from seed_data import scenario
from seed_data.scenario import SeedRun
from server.actions.pool_appliance import pool_runs
from server.model.pooled import MetricPooling, PublishedRun
from server.model.words import MetricName
from server.wording.pooled import agreement_words, flag_sentences
from tests.simulated.test_scenario import reduced


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("testers")


@pytest.fixture(scope="module")
def runs(folder: Path) -> list[SeedRun]:
    return scenario.write(folder)


def pooled(folder: Path, runs: list[SeedRun], appliance: str) -> MetricPooling:
    found = [
        PublishedRun(
            public_id=run.log,
            tester=run.tester,
            tester_id=run.tester,
            specimen_id=run.log,
            specimen=None,
            condition=None,
            tested_on=None,
            instruments={},
            metrics=reduced(folder, run.log, (folder / run.bench).read_text()).metrics,
        )
        for run in runs
        if appliance in run.appliance
    ]
    return pool_runs(found, metric=MetricName.SHAFT_POWER_MAX_STEADY)


@pytest.mark.parametrize(
    ("appliance", "words"), [("Tarnwell", "disagree"), ("Breezewright", "agree")]
)
def test_testers_in_disagreement_are_flagged_and_others_are_not(
    folder: Path, runs: list[SeedRun], appliance: str, words: str
) -> None:
    found = pooled(folder, runs, appliance)
    assert found.pooling is not None
    assert (found.pooling.n_testers, found.pooling.n_results) == (2, 2)
    assert agreement_words(found.pooling) == words
    assert bool(flag_sentences(found.pooling)) is (words == "disagree")
