"""Store a run in one short write."""

from dataclasses import asdict, dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.complete_bench import Chosen, choose
from server.actions.prepare_run import PreparedRun, digest_inputs
from server.actions.settle_run import AT_ONCE, fill_in_reading, settle_run
from server.errors import Conflict
from server.model.bench import Bench
from server.model.later_fields import without_later
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.model.words import JobState, RunState
from server.store.database import insert_if_absent
from server.store.files import StoredUpload
from server.store.identity import content_sha256, new_public_id
from server.store.journal import by, now, record
from server.store.listing import lock_appliance, rewrite_listing
from server.store.matching import (
    appliance_for,
    claim_for,
    current_plate,
    plate_for,
    rig_for,
    specimen_for,
)
from server.store.shapes import plate_of, rig_of, winding_values
from server.store.tables import (
    ApplianceRow,
    JobRow,
    PlateRevisionRow,
    RigRevisionRow,
    RunRevisionRow,
    RunRow,
    SpecimenRow,
    StoredFileRow,
    TesterRow,
)
from server.store.types import plain_json


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


@dataclass(frozen=True, slots=True)
class _Subject:
    """The stored things a run refers to."""

    appliance: ApplianceRow
    plate: PlateRevisionRow
    specimen: SpecimenRow
    rig: RigRevisionRow


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
    rule : when a clean run is published at once; as it stands, always.

    Returns
    -------
    SubmittedRun with the run's public id and state.

    Raises
    ------
    Conflict: the key was used for something else; or plate or rig changed since the figures were
        made.
    NotFound, NotAllowed, InvalidInput: an id that names nothing, another's rig or specimen, or a
        bench that names no appliance.
    """
    ids = (appliance_id, specimen_id, rig_id)
    key = _Key(idempotency_key, _request_sha256(upload, bench, ids))
    earlier = earlier_run(session, tester=tester, key=key)
    if earlier is not None:
        return earlier
    chosen = choose(
        session,
        bench=bench,
        tester=tester,
        appliance_id=appliance_id,
        specimen_id=specimen_id,
        rig_id=rig_id,
    )
    subject = _subject(session, chosen=chosen, bench=bench, tester=tester)
    if prepared is not None:
        _check_figures_fit(prepared, subject=subject)
    run = _add_run(session, subject=subject, bench=bench, tester=tester, key=key)
    if run is None:  # another request with the same key was first
        return earlier_run(session, tester=tester, key=key) or _under_way()
    revision = _add_revision(session, run=run, subject=subject, bench=bench, upload=upload)
    _settle_or_queue(session, run=run, revision=revision, prepared=prepared, rule=rule)
    return SubmittedRun(public_id=run.public_id, state=RunState(run.state), is_new=True)


def _under_way() -> SubmittedRun:
    raise Conflict("Another request with this idempotency key is under way.")


def _settle_or_queue(
    session: Session,
    *,
    run: RunRow,
    revision: RunRevisionRow,
    prepared: PreparedRun | None,
    rule: PublishingRule,
) -> None:
    if prepared is None:
        _add_job(session, run=run)
        return
    fill_in_reading(session, revision=revision, prepared=prepared)
    settle_run(
        session,
        run=run,
        revision=revision,
        reduction=prepared.reduction,
        input_digest=prepared.input_digest,
        rule=rule,
    )


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
        raise Conflict("This idempotency key was used before, for something else.")
    return SubmittedRun(public_id=row.public_id, state=RunState(row.state), is_new=False)


def _request_sha256(upload: StoredUpload, bench: Bench, ids: tuple[str | None, ...]) -> str:
    described = without_later(asdict(bench))
    return content_sha256({"file": upload.sha256, "bench": described, "ids": ids})


def _subject(session: Session, *, chosen: Chosen, bench: Bench, tester: Tester) -> _Subject:
    actor = by(tester)
    # One sender's requests follow each other, so that two at once find the same rig and specimen.
    session.execute(
        select(TesterRow.id).where(TesterRow.id == tester.id).with_for_update(key_share=True)
    )
    is_new = False
    appliance = chosen.appliance
    if appliance is None:
        assert bench.appliance is not None  # choose() refuses a bench without one
        appliance, is_new = appliance_for(session, bench.appliance, actor=actor)
    lock_appliance(session, appliance_id=appliance.id)
    stored = current_plate(session, appliance_id=appliance.id)
    if stored is not None and chosen.appliance is not None:
        plate = stored
    else:
        plate = plate_for(session, bench.plate, appliance_id=appliance.id, actor=actor)
    claims = [
        claim_for(session, claim, appliance_id=appliance.id, actor=actor) for claim in bench.claims
    ]
    if is_new or plate is not stored or any(made for _, made in claims):
        rewrite_listing(session, appliance_id=appliance.id)
    specimen = chosen.specimen or specimen_for(
        session, bench.specimen, appliance_id=appliance.id, tester_id=tester.id
    )
    rig = chosen.rig or rig_for(session, bench.rig, actor=actor)
    return _Subject(appliance=appliance, plate=plate, specimen=specimen, rig=rig)


def _check_figures_fit(prepared: PreparedRun, *, subject: _Subject) -> None:
    meant = replace(prepared.bench, plate=plate_of(subject.plate), rig=rig_of(subject.rig))
    if digest_inputs(prepared.recording_sha256, bench=meant) != prepared.input_digest:
        raise Conflict(
            "The plate or the rig on record is not the one these figures were made with. "
            "Send the file again."
        )


def _add_run(
    session: Session,
    *,
    subject: _Subject,
    bench: Bench,
    tester: Tester,
    key: _Key,
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
        "created_at": at,
        "updated_at": at,
    }
    unique = ("tester_id", "idempotency_key")
    if not insert_if_absent(session, RunRow, values, unique=unique):
        return None
    run = session.execute(select(RunRow).where(RunRow.public_id == public_id)).scalar_one()
    record(session, actor=by(tester), act="run sent", subject_kind="run", subject_id=run.id)
    return run


def _add_revision(
    session: Session, *, run: RunRow, subject: _Subject, bench: Bench, upload: StoredUpload
) -> RunRevisionRow:
    stored = {"sha256": upload.sha256, "n_bytes": upload.n_bytes, "created_at": now()}
    insert_if_absent(session, StoredFileRow, stored, unique=("sha256",))
    details = bench.run
    row = RunRevisionRow(
        run_id=run.id,
        number=1,
        specimen_id=subject.specimen.id,
        plate_revision_id=subject.plate.id,
        rig_revision_id=subject.rig.id,
        source=details.source.value,
        tested_on=details.tested_on,
        ambient_k=details.ambient_k,
        supply_note=details.supply_note,
        notes=details.notes,
        added_inertia_kg_m2=details.added_inertia_kg_m2,
        **winding_values(details),
        typed=details.typed,
        file_sha256=upload.sha256,
        file_name=upload.name,
        choices=plain_json(bench.columns),
        columns=[],
        dialect={},
        created_at=now(),
    )
    session.add(row)
    session.flush()
    run.current_revision_id = row.id
    return row


def _add_job(session: Session, *, run: RunRow) -> None:
    at = now()
    state = JobState.QUEUED.value
    session.add(
        JobRow(act="reduce run", run_id=run.id, state=state, tries=0, created_at=at, updated_at=at)
    )
