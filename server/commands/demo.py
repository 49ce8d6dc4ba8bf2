"""`benchledger demo`: the invented scenario, loaded the way an upload goes, then served.

Each run has an idempotency key of its own, so that a second start (or one after a killed first)
loads only what is missing.
"""

import tempfile
from pathlib import Path
from typing import TYPE_CHECKING

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn
from sqlalchemy import Engine, select

from server.actions.enrol_tester import enrol_tester
from server.actions.keep_recording import keep_recording
from server.actions.prepare_run import prepare_run
from server.actions.reduce_log import limits_of
from server.actions.settle_run import AT_ONCE
from server.actions.submit_run import submit_run
from server.commands.demo_desk import AGAIN, NOBODY_AT_ONCE, fill_desk, maintainer_token
from server.commands.demo_desk import TOKEN_FILE as DESK_TOKEN_FILE
from server.commands.demo_token import keep_token
from server.commands.serve import serve
from server.intake import read_bench
from server.model.people import SEND
from server.model.publishing import PublishingRule
from server.settings import Settings
from server.store.database import make_engine, migrate, read_session, write_session
from server.store.files import keep_upload_from
from server.store.tables import RunRow

if TYPE_CHECKING:
    from seed_data.seed_run import SeedRun

KEY = "demonstration:"
TOKEN_FILE = "demo-token"  # noqa: S105  a file's name
TOKEN_TESTER = "Visitor of the demonstration"  # noqa: S105  a person's name


def demo(settings: Settings) -> None:
    """Load what is missing of the demonstration data, print a token, serve.

    What a visitor sends is shown at once unless a finding holds it back: nobody sits at the desk.
    """
    console = Console()
    load(settings, console)
    serve(
        settings.model_copy(update={"standing_runs": 0, "first_run_waits": False}), console=console
    )


def load(settings: Settings, console: Console) -> None:
    """Migrate, load the missing runs, and see that there is a token to sign in with."""
    settings.data.mkdir(parents=True, exist_ok=True)
    migrate(settings)
    engine = make_engine(settings)
    try:
        _load_runs(engine, settings, console)
        fill_desk(engine)
        token = keep_token(
            engine,
            settings.data / TOKEN_FILE,
            tester=TOKEN_TESTER,
            scopes=(SEND,),
            label="demonstration",
        )
        at_desk = maintainer_token(engine, settings.data)
    finally:
        engine.dispose()
    console.print(f"To send a run, sign in with this token: {token}", highlight=False)
    console.print(f"(also in {settings.data / TOKEN_FILE})", highlight=False)
    console.print(f"To sit at the desk, sign in with this one: {at_desk}", highlight=False)
    console.print(f"(also in {settings.data / DESK_TOKEN_FILE})", highlight=False)


def _load_runs(engine: Engine, settings: Settings, console: Console) -> None:
    from seed_data.other_story import OTHERS
    from seed_data.story import STORY

    n_runs = len(STORY) + len(OTHERS)
    with read_session(engine) as session:
        known = set(
            session.scalars(
                select(RunRow.idempotency_key).where(RunRow.idempotency_key.startswith(KEY))
            )
        )
        has_again = session.scalar(select(RunRow.id).where(RunRow.idempotency_key == AGAIN))
    if len(known) >= n_runs and has_again is not None:
        console.print(f"The demonstration data is there ({len(known)} runs).")
        return
    from seed_data import scenario

    bar = Progress(
        TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), console=console
    )
    with tempfile.TemporaryDirectory() as folder, bar:
        writing = bar.add_task("Simulating the bench runs", total=n_runs)
        runs = scenario.write(folder, lambda *_: bar.advance(writing))
        loading = bar.add_task("Reading, reducing, storing", total=len(runs))
        # Other kinds first: the newest runs, and so the catalogue's rows, are logged brake runs.
        for run in sorted(runs, key=lambda run: run.kind == "brake"):
            key = f"{KEY}{run.log}"
            if key not in known:
                _load_one(engine, settings, Path(folder), run, key)
            bar.advance(loading)
        if has_again is None:
            again = next(run for run in runs if run.kind == "brake")
            _load_one(engine, settings, Path(folder), again, AGAIN, rule=NOBODY_AT_ONCE)


def _load_one(
    engine: Engine,
    settings: Settings,
    folder: Path,
    run: "SeedRun",
    key: str,
    rule: PublishingRule = AT_ONCE,
) -> None:
    """The same steps as an upload: keep the file, reduce it without a session, one short write."""
    bench = read_bench((folder / run.bench).read_bytes(), name=run.bench)
    upload = keep_upload_from(settings.files, folder / run.log, name=run.log)
    prepared = prepare_run(
        upload.path,
        file_name=run.log,
        bench=bench,
        limits=limits_of(settings),
        sha256=upload.sha256,
    )
    with write_session(engine) as session:
        tester = enrol_tester(session, name=run.tester)
        # The scenario's runs need nobody's look: the rule as it stands has no conditions.
        submit_run(
            session,
            prepared=prepared,
            upload=upload,
            bench=bench,
            tester=tester,
            idempotency_key=key,
            rule=rule,
        )
    keep_recording(prepared.log.recording, sha256=prepared.recording_sha256, files=settings.files)
