"""Store a run in one short write."""

from dataclasses import asdict, dataclass
from datetime import date

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.complete_bench import choose
from server.actions.prepare_run import PreparedRun
from server.actions.record_consent import check_consent
from server.actions.settle_run import AT_ONCE
from server.actions.store_revision import (
    Subject,
    add_revision,
    settle_or_queue,
    subject_of,
)
from server.errors import Conflict
from server.model.bench import Bench
from server.model.later_fields import without_later
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.model.words import RunState
from server.store.database import insert_if_absent
from server.store.files import StoredUpload
from server.store.identity import content_sha256, new_public_id
from server.store.journal import by, now, record
from server.store.tables import RunRow


@dataclass(frozen=True, slots=True)
class SubmittedRun:
    """A run that is stored. `is_new` False: the same request was stored before."""

    public_id: str
    state: RunState
    is_new: bool


@dataclass(frozen=True, slots=True)
class _Key:
    """An idempotency key, if one was given, and what it stands for."""

    word: str | None
    request_sha256: str


def submit_run(
    session: Session,
    *,
    prepared: PreparedRun | None,
    upload: StoredUpload,
    bench: Bench,
    tester: Tester,
    appliance_id: str | None = None,
    specimen_id: str | None = None,
    rig_id: str | None = None,
    idempotency_key: str | None = None,
    not_before: date | None = None,
    rule: PublishingRule = AT_ONCE,
) -> SubmittedRun:
    """Store an upload as a run, with its figures or with the job that will make them.

    Parameters
    ----------
    session : in one write transaction; everything is stored in it or nothing.
    prepared : the figures, or None: the run is `working` and a job row asks the worker for them.
    upload : the file, already durable in its place.
    bench : what was sent. Ids overrule its parts (see `complete_bench`); where no id is given the
        appliance (by maker and model, case folded), plate revision, claims, specimen and rig are
        found or made.
    tester : the sender.
    idempotency_key : the same key with the same content answers the run stored before.
    not_before : not published before this date (UTC).
    rule : when a clean run is published at once; as it stands, always.

    Returns the run's public id and state.

    Raises
    ------
    Conflict: the key was used for something else; or plate or rig changed since the figures were
        made.
    NotFound, NotAllowed, InvalidInput: an id that names nothing, another's rig or specimen, a bench
        that names no appliance, or a sender who has not consented to the data licence.
    """
    ids = (appliance_id, specimen_id, rig_id)
    key = _Key(idempotency_key, _request_sha256(upload, bench, ids))
    earlier = earlier_run(session, tester=tester, key=key)
    if earlier is not None:
        return earlier
    check_consent(session, tester_id=tester.id)
    named = {"appliance_id": appliance_id, "specimen_id": specimen_id, "rig_id": rig_id}
    chosen = choose(session, bench=bench, tester=tester, **named)
    subject = subject_of(session, chosen=chosen, bench=bench, tester=tester, prepared=prepared)
    run = _add_run(
        session, subject=subject, bench=bench, tester=tester, key=key, not_before=not_before
    )
    if run is None:  # another request with the same key was first
        return earlier_run(session, tester=tester, key=key) or _under_way()
    revision = add_revision(session, run=run, subject=subject, bench=bench, upload=upload)
    settle_or_queue(session, run=run, revision=revision, prepared=prepared, rule=rule)
    return SubmittedRun(public_id=run.public_id, state=RunState(run.state), is_new=True)


def _under_way() -> SubmittedRun:
    raise Conflict("Another request with this idempotency key is under way.")


def earlier_run(session: Session, *, tester: Tester, key: _Key) -> SubmittedRun | None:
    """The run that a tester's idempotency key stored before, None if there is none.

    Raises
    ------
    Conflict: the key was used for something else.
    """
    if key.word is None:
        return None
    row = session.execute(
        select(RunRow.public_id, RunRow.state, RunRow.request_sha256).where(
            RunRow.tester_id == tester.id, RunRow.idempotency_key == key.word
        )
    ).first()
    if row is None:
        return None
    if row.request_sha256 != key.request_sha256:
        raise Conflict(
            "This idempotency key was used before, for something else. Send this under another."
        )
    return SubmittedRun(public_id=row.public_id, state=RunState(row.state), is_new=False)


def _request_sha256(upload: StoredUpload, bench: Bench, ids: tuple[str | None, ...]) -> str:
    described = without_later(asdict(bench))
    return content_sha256({"file": upload.sha256, "bench": described, "ids": ids})


def _add_run(
    session: Session,
    *,
    subject: Subject,
    bench: Bench,
    tester: Tester,
    key: _Key,
    not_before: date | None,
) -> RunRow | None:
    at = now()
    public_id = new_public_id()
    values = {
        "public_id": public_id,
        "tester_id": tester.id,
        "appliance_id": subject.appliance.id,
        "kind": bench.run.kind.value,
        "state": RunState.WORKING.value,
        "idempotency_key": key.word,
        "request_sha256": key.request_sha256,
        "not_before": not_before,
        "created_at": at,
        "updated_at": at,
    }
    unique = ("tester_id", "idempotency_key")
    if not insert_if_absent(session, RunRow, values, unique=unique):
        return None
    run = session.execute(select(RunRow).where(RunRow.public_id == public_id)).scalar_one()
    record(session, actor=by(tester), act="run sent", subject_kind="run", subject_id=run.id)
    return run
