"""Store what a run says: the things it refers to, a revision, its figures or the job for them."""

from dataclasses import dataclass, replace

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.complete_bench import Chosen
from server.actions.prepare_run import PreparedRun, digest_inputs
from server.actions.settle_run import fill_in_reading, settle_run
from server.errors import Conflict
from server.model.bench import Bench
from server.model.publishing import PublishingRule
from server.model.views import Tester
from server.model.words import JobState
from server.store.database import insert_if_absent
from server.store.files import StoredUpload
from server.store.journal import by, now
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
class Subject:
    """The stored things a run refers to."""

    appliance: ApplianceRow
    plate: PlateRevisionRow
    specimen: SpecimenRow
    rig: RigRevisionRow


def subject_of(
    session: Session,
    *,
    chosen: Chosen,
    bench: Bench,
    tester: Tester,
    prepared: PreparedRun | None,
) -> Subject:
    """Find or make what a run refers to. Its sender's requests follow one another from here on.

    Raises Conflict where plate or rig changed since the figures were made.
    """
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
    subject = Subject(appliance=appliance, plate=plate, specimen=specimen, rig=rig)
    if prepared is not None:
        _check_figures_fit(prepared, subject=subject)
    return subject


def _check_figures_fit(prepared: PreparedRun, *, subject: Subject) -> None:
    meant = replace(prepared.bench, plate=plate_of(subject.plate), rig=rig_of(subject.rig))
    if digest_inputs(prepared.recording_sha256, bench=meant) != prepared.input_digest:
        raise Conflict(
            "The plate or the rig on record is not the one these figures were made with. "
            "Send the file again."
        )


def add_revision(
    session: Session,
    *,
    run: RunRow,
    subject: Subject,
    bench: Bench,
    upload: StoredUpload,
    number: int = 1,
    reason_id: int | None = None,
) -> RunRevisionRow:
    """Store a revision of a run, which is its current one from then on."""
    stored = {"sha256": upload.sha256, "n_bytes": upload.n_bytes, "created_at": now()}
    insert_if_absent(session, StoredFileRow, stored, unique=("sha256",))
    details = bench.run
    row = RunRevisionRow(
        run_id=run.id,
        number=number,
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
        reason_id=reason_id,
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


def settle_or_queue(
    session: Session,
    *,
    run: RunRow,
    revision: RunRevisionRow,
    prepared: PreparedRun | None,
    rule: PublishingRule,
) -> None:
    """Store the figures and decide where the run goes, or ask the worker to."""
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
