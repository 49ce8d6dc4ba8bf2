"""A few of the kills of `python -m tests.threats.kills`, at every stage once."""

import random

import pytest

from server.settings import Settings
from tests.threats.kills import environment_of, kill_settings, run_kills
from tests.threats.staged import STAGES

N_STAGES = sum(len(stages) for stages in STAGES.values()) + 2


@pytest.mark.timeout(600)
@pytest.mark.parametrize(
    ("settings", "kills"),
    [
        ("sqlite", N_STAGES),
        pytest.param("postgresql", 4, marks=pytest.mark.postgresql),
    ],
    indirect=["settings"],
)
def test_nothing_acknowledged_is_lost(settings: Settings, kills: int) -> None:
    seed = random.randrange(2**32)
    print(f"seed {seed}")
    told = kill_settings(settings.data, database_url=settings.database_url)
    done = run_kills(told, environment_of(told), kills=kills, seed=seed)
    assert done.total() == kills
    if kills == N_STAGES:
        assert set(done.values()) == {1}
