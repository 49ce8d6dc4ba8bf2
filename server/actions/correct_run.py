"""Begin the correction of a run: a draft that holds what the run says now."""

from collections.abc import Mapping

from sqlalchemy import select
from sqlalchemy.orm import Session

from server.actions.revise_run import CORRECTABLE
from server.actions.save_draft import save_draft
from server.errors import Conflict, NotFound
from server.model.measured import JsonValue
from server.model.views import DraftView, Tester
from server.model.words import RunState
from server.store.drafts import draft_row, draft_view
from server.store.files import StoredUpload
from server.store.tables import DraftRow, RunRow


def begin_correction(
    session: Session,
    *,
    run_id: str,
    tester: Tester,
    form: Mapping[str, JsonValue],
    upload: StoredUpload,
) -> DraftView:
    """A draft that will be the run's next revision; one begun before is gone on with.

    Parameters
    ----------
    run_id : public id of one's own run. form : its current revision as the forms have it.
    upload : its file, which is in its place already.

    Raises
    ------
    NotFound: no such run of this tester. Conflict: it can't be corrected as it stands.
    """
    run = session.execute(
        select(RunRow).where(RunRow.public_id == run_id, RunRow.tester_id == tester.id)
    ).scalar_one_or_none()
    if run is None:
        raise NotFound(f"There is no run {run_id} of yours.")
    if RunState(run.state) not in CORRECTABLE:
        raise Conflict(f"This run is {run.state}; it can't be corrected now.")
    begun = session.execute(
        select(DraftRow.public_id)
        .where(DraftRow.run_id == run.id, DraftRow.tester_id == tester.id)
        .order_by(DraftRow.id.desc())
        .limit(1)
    ).scalar_one_or_none()
    if begun is not None:
        return draft_view(session, public_id=begun, tester=tester)
    draft = save_draft(session, tester=tester, form=form, upload=upload)
    draft_row(session, public_id=draft.public_id, tester=tester).run_id = run.id
    session.flush()
    return draft_view(session, public_id=draft.public_id, tester=tester)
