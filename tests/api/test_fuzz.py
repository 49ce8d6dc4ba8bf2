"""Whatever the schema allows, and what it forbids: no answer is a defect, all keep the schema."""

import shutil
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
import schemathesis
from fastapi import FastAPI
from fastapi.testclient import TestClient
from hypothesis import HealthCheck, given, settings
from hypothesis.errors import Unsatisfiable
from schemathesis import GenerationMode
from schemathesis.checks import positive_data_acceptance

from server.actions.issue_token import issue_token
from server.app import create_app
from server.settings import Settings
from server.store.database import write_session
from tests.api.logs import parts

# How often each operation is called; seeds are fixed.
N_EXAMPLES = 6


@pytest.fixture(scope="module")
def fuzz_app(migrated_sqlite: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[FastAPI]:
    data = tmp_path_factory.mktemp("fuzzed")
    shutil.copy(migrated_sqlite, data / "benchledger.sqlite3")
    app = create_app(Settings(data=data))
    yield app
    app.state.resources.engine.dispose()


@pytest.fixture(scope="module")
def fuzz_sender(fuzz_app: FastAPI) -> dict[str, str]:
    with write_session(fuzz_app.state.resources.engine) as session:
        token = issue_token(session, tester="Ada Quill", scopes=("send",)).token
    return {"Authorization": f"Bearer {token}"}


@pytest.fixture(scope="module")
def fuzzed(fuzz_app: FastAPI, fuzz_sender: dict[str, str]) -> Any:
    """The schema of a server that holds one run, whose ids the generated requests often use."""
    with TestClient(fuzz_app) as client:
        run = client.post("/api/v1/runs", files=parts(), headers=fuzz_sender).json()
    known = {
        "appliance_id": run["appliance"]["id"],
        "run_id": run["id"],
        "rig_id": run["rig"]["id"],
        "specimen_id": run["specimen"]["id"],
    }
    schema = schemathesis.openapi.from_asgi("/api/v1/openapi.json", fuzz_app)

    @schema.hook
    def map_path_parameters(
        context: object, path_parameters: dict[str, Any] | None
    ) -> dict[str, Any] | None:
        """Two of three requests ask for what is there."""
        if path_parameters is None:
            return None
        return {
            name: known[name] if name in known and len(repr(value)) % 3 else value
            for name, value in path_parameters.items()
        }

    return schema


def test_no_request_makes_the_server_fail(
    fuzzed: Any, fuzz_sender: dict[str, str], subtests: pytest.Subtests
) -> None:
    operations = [found.ok() for found in fuzzed.get_all_operations()]
    assert len(operations) > 30
    for operation in operations:
        for mode in GenerationMode:

            @given(case=operation.as_strategy(generation_mode=mode))
            @settings(
                max_examples=N_EXAMPLES,
                deadline=None,
                derandomize=True,
                database=None,
                suppress_health_check=list(HealthCheck),
            )
            def call(case: Any) -> None:
                # A schema can't say that “0 V” is no voltage: refusing valid data is no fault.
                excluded = [positive_data_acceptance]
                case.call_and_validate(headers=fuzz_sender, excluded_checks=excluded)

            with subtests.test(operation.label, mode=mode.value):
                try:
                    call()
                except Unsatisfiable:
                    # It takes nothing that could be wrong.
                    assert mode is GenerationMode.NEGATIVE
