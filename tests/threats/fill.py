"""A ledger with something in it: a published run with its files."""

from pathlib import Path

from sqlalchemy import Engine

from server.actions.issue_token import issue_token
from server.actions.keep_recording import keep_recording
from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.submit_run import submit_run
from server.intake import bench_from_mapping
from server.settings import Settings
from server.store.database import read_session, write_session
from server.store.files import keep_upload_from
from server.store.people import tester_for_token
from tests.api.logs import BENCH


def fill_ledger(settings: Settings, engine: Engine, *, log: str, tester: str = "Ada Quill") -> str:
    """Store a run as somebody sends it; gives its id."""
    with write_session(engine) as session:
        token = issue_token(session, tester=tester).token
    with read_session(engine) as session:
        sender = tester_for_token(session, token=token)
    assert sender is not None
    source: Path = settings.data.parent / "log.csv"
    source.write_text(log)
    upload = keep_upload_from(settings.files, source, name="log.csv")
    bench = bench_from_mapping(BENCH)
    prepared = prepare_run(
        upload.path,
        file_name=upload.name,
        bench=bench,
        limits=limits_of(settings),
    )
    with write_session(engine) as session:
        done = submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=sender)
    recording, sha256 = prepared.log.recording, prepared.recording_sha256
    keep_recording(recording, sha256=sha256, files=settings.files)
    return done.public_id
