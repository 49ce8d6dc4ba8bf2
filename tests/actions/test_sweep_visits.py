"""A visit past its day goes with all that was kept for it; nothing else does."""

from datetime import timedelta

import sqlalchemy as sa
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.actions import sign_in
from server.actions.save_draft import save_draft
from server.actions.sweep_visits import end_expired_visits
from server.actions.upload_in_pieces import begin_upload
from server.model.views import Tester
from server.settings import Settings
from server.store import people
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import keep_upload_from
from server.store.journal import now


def visit(engine: Engine) -> Tester:
    with write_session(engine) as session:
        key = sign_in.start_visit(session, agent="a browser")
        found = people.tester_for_session(session, key=key)
    assert found is not None
    return found


def with_things(session: Session, settings: Settings, tester: Tester, tmp_path) -> None:  # type: ignore[no-untyped-def]
    log = tmp_path / "log.csv"
    log.write_text("t,n\n0,1\n")
    upload = keep_upload_from(settings.files, log, name="log.csv")
    save_draft(session, tester=tester, form={"a": "b"}, upload=upload)
    begin_upload(session, tester=tester, file_name="x.csv", n_bytes=10, max_bytes=100)
    draft = session.execute(
        sa.select(t.DraftRow).where(t.DraftRow.tester_id == tester.id)
    ).scalar_one()
    photo = t.PhotoRow(
        public_id=f"photo{tester.id:05}", tester_id=tester.id, subject="plate", draft_id=draft.id,
        state="working", sent_sha256=upload.sha256, choices={}, created_at=now(),
    )  # fmt: skip
    session.add(photo)
    session.flush()
    session.add(
        t.JobRow(act="photo", photo_id=photo.id, state="queued", tries=0,
                 created_at=now(), updated_at=now())
    )  # fmt: skip


def test_a_visit_ends_with_all_that_was_its_own(
    engine: Engine, settings: Settings, tester: Tester, tmp_path
) -> None:  # type: ignore[no-untyped-def]
    ended, going_on = visit(engine), visit(engine)
    with write_session(engine) as session:
        for one in (ended, going_on, tester):
            with_things(session, settings, one, tmp_path)
        session.get_one(t.TesterRow, ended.id).expires_at = now() - timedelta(minutes=1)
    with write_session(engine) as session:
        assert end_expired_visits(session) == 1
    with read_session(engine) as session:
        for table in (t.DraftRow, t.PhotoRow, t.PartialUploadRow):
            owners = set(session.execute(sa.select(table.tester_id)).scalars())
            assert owners == {going_on.id, tester.id}
        assert len(session.execute(sa.select(t.JobRow)).all()) == 2
        assert session.get(t.TesterRow, ended.id) is None
        assert session.get(t.TesterRow, going_on.id) is not None
    with write_session(engine) as session:
        assert end_expired_visits(session) == 0
