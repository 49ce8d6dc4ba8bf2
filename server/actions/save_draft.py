"""Keep an upload and what was filled in so far."""

from collections.abc import Mapping

from sqlalchemy import func, select
from sqlalchemy.orm import Session

from server.errors import Conflict, InvalidInput, Problem
from server.model.measured import JsonValue
from server.model.views import DraftView, Tester
from server.store.database import insert_if_absent
from server.store.drafts import draft_row, draft_view
from server.store.files import StoredUpload
from server.store.identity import new_public_id
from server.store.journal import now
from server.store.tables import DraftRow, StoredFileRow

MAX_DRAFTS = 100


def save_draft(
    session: Session,
    *,
    tester: Tester,
    form: Mapping[str, JsonValue],
    upload: StoredUpload | None = None,
    draft_id: str | None = None,
) -> DraftView:
    """Save a new draft, or over an old one.

    Parameters
    ----------
    form : what the sender filled in, as the page has it.
    upload : the file, already in its place; needed for a new draft, else the draft keeps its own.
    draft_id : the draft to save over.

    Raises
    ------
    NotFound: no such draft of this tester.
    InvalidInput: a new draft without a file.
    Conflict: the tester has MAX_DRAFTS drafts.
    """
    at = now()
    if upload is not None:
        stored = {"sha256": upload.sha256, "n_bytes": upload.n_bytes, "created_at": at}
        insert_if_absent(session, StoredFileRow, stored, unique=("sha256",))
    if draft_id is not None:
        row = draft_row(session, public_id=draft_id, tester=tester)
        row.form = dict(form)
        row.updated_at = at
        if upload is not None:
            row.file_sha256, row.file_name = upload.sha256, upload.name
    else:
        row = _new(session, tester=tester, form=form, upload=upload)
    session.flush()
    return draft_view(session, public_id=row.public_id, tester=tester)


def _new(
    session: Session,
    *,
    tester: Tester,
    form: Mapping[str, JsonValue],
    upload: StoredUpload | None,
) -> DraftRow:
    if upload is None:
        problem = Problem("there is no file.", "Choose the log first.", field="file")
        raise InvalidInput("draft", [problem])
    n = session.execute(
        select(func.count()).select_from(DraftRow).where(DraftRow.tester_id == tester.id)
    ).scalar_one()
    if n >= MAX_DRAFTS:
        raise Conflict(f"You have {n} drafts. Send or discard some first.")
    at = now()
    row = DraftRow(
        public_id=new_public_id(),
        tester_id=tester.id,
        file_sha256=upload.sha256,
        file_name=upload.name,
        form=dict(form),
        created_at=at,
        updated_at=at,
    )
    session.add(row)
    return row
