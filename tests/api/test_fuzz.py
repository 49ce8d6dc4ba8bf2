"""Whatever the schema allows, and what it forbids: no answer is a defect, all keep the schema."""

import os
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
from sqlalchemy import select, update

from server.actions.enrol_tester import enrol_tester
from server.actions.issue_token import issue_token, make_token
from server.app import create_app
from server.model.people import SCOPES_OF_ROLE, Role
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.journal import OPERATOR
from tests.api.logs import BENCH, parts, small_log

# How often each operation is called; seeds are fixed.
N_EXAMPLES = 6
# By each other role; BENCHLEDGER_FUZZ_ROUNDS asks for more.
N_BY_ROLE = int(os.environ.get("BENCHLEDGER_FUZZ_ROUNDS", "1"))


@schemathesis.serializer("application/partial-upload")
def _piece(_context: object, value: object) -> bytes:
    """A piece of a file is whatever bytes it is."""
    return value if isinstance(value, bytes) else str(value).encode()


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


class Counted:
    """How many requests were made, and how many were let in."""

    n = 0
    n_let_in = 0


def fuzz(
    fuzzed: Any, headers: dict[str, str], subtests: pytest.Subtests, *, n_examples: int, after: Any
) -> Counted:
    """Every operation, with what its schema allows and what it forbids."""
    counted = Counted()
    operations = [found.ok() for found in fuzzed.get_all_operations()]
    assert len(operations) > 30
    for operation in operations:
        for mode in GenerationMode:

            @given(case=operation.as_strategy(generation_mode=mode))
            @settings(
                max_examples=n_examples,
                deadline=None,
                derandomize=True,
                database=None,
                suppress_health_check=list(HealthCheck),
            )
            def call(case: Any) -> None:
                # A schema can't say that “0 V” is no voltage: refusing valid data is no fault.
                excluded = [positive_data_acceptance]
                # In the case itself: a token left out on purpose is no fault once it is there.
                case.headers.update(headers)
                answer = case.call_and_validate(excluded_checks=excluded)
                counted.n += 1
                counted.n_let_in += answer.status_code < 400
                after(case, answer)

            with subtests.test(operation.label, mode=mode.value):
                try:
                    call()
                except Unsatisfiable:
                    # It takes nothing that could be wrong.
                    assert mode is GenerationMode.NEGATIVE
    return counted


def test_no_request_makes_the_server_fail(
    fuzzed: Any, fuzz_sender: dict[str, str], subtests: pytest.Subtests
) -> None:
    fuzz(fuzzed, fuzz_sender, subtests, n_examples=N_EXAMPLES, after=lambda *_: None)


MARK = "for-nobody-else-9f3w"


@pytest.fixture(scope="module")
def private_run(fuzz_app: FastAPI, fuzzed: Any) -> str:
    """Another's run that waits, with words that only they and maintainers may read."""
    with write_session(fuzz_app.state.resources.engine) as session:
        token = issue_token(session, tester="Bo Marsh", scopes=("send",)).token
    bench = {**BENCH, "run": {"notes": MARK}}
    with TestClient(fuzz_app) as client:
        sent = client.post(
            "/api/v1/runs",
            files=parts(small_log(dwell_s=1.5), bench),
            headers={"Authorization": f"Bearer {token}"},
        ).json()
    with write_session(fuzz_app.state.resources.engine) as session:
        session.execute(
            update(t.RunRow).where(t.RunRow.public_id == sent["id"]).values(state="waiting")
        )
    return str(sent["id"])


@pytest.mark.parametrize("role", ["none", "reader", "maintainer", "administrator"])
def test_each_role_gets_what_it_may_and_no_defect(
    fuzz_app: FastAPI, fuzzed: Any, private_run: str, role: str, subtests: pytest.Subtests
) -> None:
    engine = fuzz_app.state.resources.engine
    headers = {}
    if role != "none":
        scopes = SCOPES_OF_ROLE[Role(role)]
        with write_session(engine) as session:
            tester = enrol_tester(session, name=f"Role {role}")
            session.get_one(t.TesterRow, tester.id).role = role
            made = make_token(
                session, tester=tester, scopes=sorted(scopes), days=1, label="f", actor=OPERATOR
            )
        headers = {"Authorization": f"Bearer {made.token}"}

    def after(case: Any, answer: Any) -> None:
        if role in ("maintainer", "administrator"):
            return
        assert MARK not in answer.text, f"another's words are shown: {case.as_curl_command()}"
        with read_session(engine) as session:
            state = session.scalar(select(t.RunRow.state).where(t.RunRow.public_id == private_run))
        assert state == "waiting", f"another's run moved: {case.as_curl_command()}"

    counted = fuzz(fuzzed, headers, subtests, n_examples=N_BY_ROLE, after=after)
    print(f"{role}: {counted.n} requests, {counted.n_let_in} let in")
    assert counted.n_let_in > 0
