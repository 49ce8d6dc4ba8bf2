"""The world of the matrix, made once for a module; each test leaves the database as it was."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.threats.world import World, make_world


@pytest.fixture(scope="module")
def made_world(migrated_sqlite: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[World]:
    with make_world(migrated_sqlite, tmp_path_factory.mktemp("world")) as world:
        yield world


@pytest.fixture
def world(made_world: World) -> Iterator[World]:
    yield made_world
    made_world.put_back()
