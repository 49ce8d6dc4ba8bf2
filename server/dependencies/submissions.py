"""A log on its way into the ledger: received, described and reduced before any write begins."""

import json
from collections.abc import AsyncIterator, Callable, Iterator, Mapping
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

from anyio import WouldBlock, to_thread
from fastapi import Depends, Header, Query, Request
from sqlalchemy.orm import Session

from server.actions.not_before import read_not_before
from server.dependencies.people import Writer
from server.dependencies.resources import Resources, resources_of
from server.dependencies.sessions import WriteTurn
from server.dependencies.threads import in_reduction, start_parsers
from server.dependencies.uploaded import log_of
from server.dependencies.uploads import Arrived, ArrivedFile, receive_upload
from server.errors import Problem, UnusableBench
from server.model.bench import Bench
from server.model.views import Tester
from server.store.database import read_session, write_session
from server.store.files import StoredUpload, bare_name, keep_upload, make_durable

if TYPE_CHECKING:  # it brings the numerics, which a web process loads with its first log
    from server.actions.prepare_run import PreparedRun
    from server.intake import ReadingAhead

_IDS = ("appliance", "specimen", "rig")


@dataclass(frozen=True, slots=True)
class Submission:
    """All that `submit_run` needs. `prepared` None: a large log, whose figures a worker makes.

    `upload_id`: of the upload in pieces that brought the log.
    """

    upload: StoredUpload
    bench: Bench
    prepared: "PreparedRun | None"
    ids: Mapping[str, str | None] = field(default_factory=dict)
    idempotency_key: str | None = None
    not_before: date | None = None
    upload_id: str | None = None


def _id_query(what: str) -> Any:
    return Query(max_length=20, description=f"Id of a stored {what}; for a raw body")


async def _submission(
    request: Request,
    tester: Writer,
    appliance: Annotated[str | None, _id_query("appliance")] = None,
    specimen: Annotated[str | None, _id_query("specimen")] = None,
    rig: Annotated[str | None, _id_query("rig")] = None,
    idempotency_key: Annotated[str | None, Header(min_length=1, max_length=200)] = None,
) -> AsyncIterator[Submission]:
    resources = resources_of(request)
    files, receivers = resources.settings.files, resources.receivers
    with _turn_to_follow(resources) as follow:
        receiving = receive_upload(request, files=files, limiter=receivers, follow=follow)
        async with receiving as arrived, log_of(resources, tester, arrived) as (sent, whole):
            in_address = {"appliance": appliance, "specimen": specimen, "rig": rig}
            ids = {name: arrived.fields.get(name) or in_address[name] for name in _IDS}
            words = dict(request.query_params)
            told_date = arrived.fields.get("not_before") or words.pop("not_before", None)
            not_before = read_not_before(told_date)
            bench = await to_thread.run_sync(_read_bench, arrived, words, limiter=receivers)
            async with resources.slots:
                complete = partial(_complete, resources, bench, tester, ids)
                described = await to_thread.run_sync(complete)
            if isinstance(sent, StoredUpload):
                # A run took it before: the same one is the answer where the key is the same.
                prepared, upload = None, sent
            elif sent.n_lines <= resources.settings.inline_rows:
                work = partial(_prepare, resources, sent, described)
                prepared, upload = await in_reduction(resources, work)
            else:
                keep = partial(_keep, resources, sent)
                prepared, upload = None, await to_thread.run_sync(keep, limiter=receivers)
            upload_id = whole.public_id if whole is not None else None
            yield Submission(upload, bench, prepared, ids, idempotency_key, not_before, upload_id)
            if prepared is not None:  # the session is closed: the run is stored
                resources.recordings.add(prepared)


@contextmanager
def _turn_to_follow(resources: Resources) -> Iterator[Callable[[Path], "ReadingAhead"] | None]:
    """What reads a log while it arrives: for one request at a time, None for others meanwhile.

    The readings are held in memory for as long as the rest of the file takes to come.
    """
    try:
        resources.followers.acquire_nowait()
    except WouldBlock:
        yield None
        return
    try:
        yield partial(_follow, resources)
    finally:
        resources.followers.release()


def _follow(resources: Resources, path: Path) -> "ReadingAhead":
    from server.actions.reduce_log import limits_of
    from server.intake import ReadingAhead

    start_parsers()
    limits = limits_of(resources.settings)
    most = min(limits.max_rows, resources.settings.inline_rows)
    return ReadingAhead(path, replace(limits, max_rows=most))


PreparedSubmission = Annotated[Submission, Depends(_submission, scope="function")]


def _submit_session(
    request: Request, _submission: PreparedSubmission, _turn: WriteTurn
) -> Iterator[Session]:
    with write_session(resources_of(request).engine) as session:
        yield session


# A write session that begins after the log was received and reduced.
SubmitSession = Annotated[Session, Depends(_submit_session, scope="function")]


def _read_bench(arrived: Arrived, words: Mapping[str, str]) -> Bench:
    """The part `bench`: JSON of the bench file's shape; for a raw body the address's words.

    Every key of the bench file's `[run]` may stand in the address.
    """
    from server.intake import RUN_KEYS, bench_from_mapping

    text = arrived.fields.get("bench")
    if not text:
        run = {word: words[word] for word in RUN_KEYS if words.get(word)}
        return bench_from_mapping({"run": run} if run else {}, name="address")
    try:
        described = json.loads(text)
    except ValueError as error:
        problem = Problem(f"it is not JSON: {error}.", "Send one JSON object.", field="bench")
        raise UnusableBench("bench", [problem]) from error
    except RecursionError as error:
        problem = Problem("it is nested too deep.", "Send one flat JSON object.", field="bench")
        raise UnusableBench("bench", [problem]) from error
    return bench_from_mapping(described, name="bench")


def _complete(
    resources: Resources, bench: Bench, tester: Tester, ids: Mapping[str, str | None]
) -> Bench:
    from server.actions.complete_bench import complete_bench

    with read_session(resources.engine) as session:
        return complete_bench(
            session,
            bench=bench,
            tester=tester,
            appliance_id=ids["appliance"],
            specimen_id=ids["specimen"],
            rig_id=ids["rig"],
        )


def _keep(resources: Resources, sent: ArrivedFile) -> StoredUpload:
    return keep_upload(
        resources.settings.files,
        sent.path,
        name=sent.name,
        sha256=sent.sha256,
        n_bytes=sent.n_bytes,
    )


def _prepare(
    resources: Resources, sent: ArrivedFile, bench: Bench
) -> tuple["PreparedRun", StoredUpload]:
    from server.actions.prepare_run import prepare_run
    from server.actions.reduce_log import limits_of

    with ThreadPoolExecutor(max_workers=1) as beside:
        # The disk writes while the file is read and reduced.
        written = beside.submit(make_durable, sent.path)

        upload: list[StoredUpload] = []

        def keep() -> None:
            written.result()
            upload.append(_keep(resources, sent))

        prepared = prepare_run(
            sent.path,
            file_name=bare_name(sent.name),
            bench=bench,
            limits=limits_of(resources.settings),
            sha256=sent.sha256,
            ahead=sent.ahead,
            meanwhile=keep,
        )
    return prepared, upload[0]
