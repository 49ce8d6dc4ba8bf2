"""An application with two appliances on record, and a browser of it without scripts."""

import json
import shutil
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi import FastAPI
from fastapi.testclient import TestClient

from server.actions.issue_token import issue_token
from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.submit_run import submit_run
from server.app import create_app
from server.intake import bench_from_mapping
from server.settings import Settings
from server.store.database import make_engine, write_session
from server.store.files import keep_upload_from
from server.store.people import tester_for_token
from tests.api.logs import BENCH, small_log

MODELS = (("Millbeck", "WD-30", 1.0), ("Tollan", "Shed 40", 0.8), ("Quarrow", "Router 2", 0.6))


@pytest.fixture(scope="session")
def filled(migrated_sqlite: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A data folder with three appliances, each with a published run."""
    data = tmp_path_factory.mktemp("filled") / "data"
    data.mkdir()
    shutil.copy(migrated_sqlite, data / "benchledger.sqlite3")
    settings = Settings(data=data)
    engine = make_engine(settings)
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    log = data.parent / "run.csv"
    for maker, model, scale in MODELS:
        log.write_text(small_log(torques_nm=tuple(scale * 0.1 * i for i in range(9))))
        described = BENCH | {
            "appliance": {"maker": maker, "model": model, "category": "wet/dry vacuum"},
            "instrument": [
                {"channel": channel, "of_reading": "0.5 %"}
                for channel in ("torque", "speed", "current", "voltage", "power")
            ],
        }
        bench = bench_from_mapping(json.loads(json.dumps(described)))
        upload = keep_upload_from(settings.files, log, name=f"{model}.csv")
        prepared = prepare_run(
            upload.path,
            file_name=upload.name,
            bench=bench,
            limits=limits_of(settings),
        )
        with write_session(engine) as session:
            tester = tester_for_token(session, token=token)
            assert tester is not None
            submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
    engine.dispose()
    return data


@pytest.fixture
def app(filled: Path, tmp_path: Path) -> FastAPI:
    data = tmp_path / "data"
    shutil.copytree(filled, data)
    return create_app(Settings(data=data))


@pytest.fixture
def browser_without_scripts(app: FastAPI) -> Iterator[TestClient]:
    with TestClient(app, base_url="http://ledger.test") as client:
        yield client


@pytest.fixture
def new_token(app: FastAPI) -> Callable[[], str]:
    def make() -> str:
        with write_session(app.state.resources.engine) as session:
            return issue_token(session, tester="Ada Quill").token

    return make
