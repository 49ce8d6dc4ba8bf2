"""Send a draft as a run."""

from datetime import date
from pathlib import Path

from sqlalchemy.orm import Session

from server.actions.keep_photo import hand_over_photos
from server.actions.prepare_run import PreparedRun
from server.actions.revise_run import revise_run
from server.actions.settle_run import AT_ONCE
from server.actions.submit_run import SubmittedRun, submit_run
from server.model.bench import Bench
from server.model.publishing import PublishingRule
from server.model.views import DraftView, Tester
from server.store.drafts import draft_row, key_of_draft
from server.store.files import StoredUpload, original_path
from server.store.tables import RunRow


def submit_draft(
    session: Session,
    *,
    draft_id: str,
    prepared: PreparedRun | None,
    upload: StoredUpload,
    bench: Bench,
    tester: Tester,
    appliance_id: str | None = None,
    specimen_id: str | None = None,
    rig_id: str | None = None,
    reason: str = "",
    not_before: date | None = None,
    rule: PublishingRule = AT_ONCE,
) -> SubmittedRun:
    """Store a draft as a run, or as a run's next revision, and remove the draft: one transaction.

    Parameters
    ----------
    prepared, bench and the ids : as for `submit_run`.
    reason : why a run is corrected; a new run needs none.
    upload : the draft's file (`upload_of_draft`).

    Raises
    ------
    NotFound: no such draft of this tester; AlreadySent, which is one, where it was sent.
    And what `submit_run` or `revise_run` raises; the draft stays then.
    """
    row = draft_row(session, public_id=draft_id, tester=tester)
    told = {
        "prepared": prepared,
        "upload": upload,
        "bench": bench,
        "tester": tester,
        "appliance_id": appliance_id,
        "specimen_id": specimen_id,
        "rig_id": rig_id,
        "not_before": not_before,
        "rule": rule,
    }
    if row.run_id is not None:
        run_id = session.get_one(RunRow, row.run_id).public_id
        done = revise_run(session, run_id=run_id, reason=reason, **told)  # type: ignore[arg-type]
    else:
        # A form sent twice at once must not become two runs.
        key = key_of_draft(row.public_id)
        done = submit_run(session, idempotency_key=key, **told)  # type: ignore[arg-type]
    hand_over_photos(session, draft=row, run_id=done.public_id)
    session.delete(row)
    return done


def upload_of_draft(draft: DraftView, *, files: Path) -> StoredUpload:
    """The draft's file where it is kept."""
    return StoredUpload(
        sha256=draft.file.sha256,
        name=draft.file.name,
        n_bytes=draft.file.n_bytes,
        path=original_path(files, draft.file.sha256),
    )
