"""Deleting an account: the person goes, runs and journal stay whole, a backup changes nothing."""

from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy import Engine
from sqlalchemy.orm import Session

from server.actions.backup import backup
from server.actions.check_journal import check_journal
from server.actions.check_rows import check_figures, check_listing, check_rows
from server.actions.erase_account import NEUTRAL_NAME, erase_account
from server.actions.export_account import export_account
from server.actions.issue_token import issue_token
from server.actions.restore import restore
from server.actions.seal_journal import seal_journal
from server.actions.sign_in import start_session
from server.actions.submit_run import submit_run
from server.actions.verify import verify
from server.model.checking import Fault
from server.model.views import Tester
from server.settings import Settings
from server.store import people
from server.store import tables as t
from server.store.database import make_engine, read_session, write_session
from server.store.erasures import ERASURES_NAME, note_erasure, read_erasures
from server.store.journal import by, keep_text, now, record
from server.store.types import load_json
from tests.actions.examples import example_bench, example_prepared, example_upload

SECRETS = ("Ada Quill", "ada@bench.example", "the blue bench", "my garage", "shed-17", "fuse blew")


@pytest.fixture
def ada(engine: Engine, settings: Settings) -> Tester:
    """A tester with all that an account can hold, and a run with words of hers."""
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
        tester = people.tester_for_token(session, token=token)
        assert tester is not None
    upload = example_upload(settings.files)
    bench = example_bench()
    prepared = example_prepared(settings.files, upload, bench)
    with write_session(engine) as session:
        submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
    with write_session(engine) as session:
        row = session.get_one(t.TesterRow, tester.id)
        row.email, row.email_key, row.password_hash = SECRETS[1], SECRETS[1], "$argon2id$…"
        start_session(session, tester_id=tester.id, hours=1, agent="Ada Quill's browser")
        session.execute(
            sa.update(t.RunRevisionRow).values(
                notes="by Ada Quill", supply_note="my garage", file_name="Ada Quill.csv"
            )
        )
        session.execute(sa.update(t.RigRevisionRow).values(name="the blue bench"))
        session.execute(sa.update(t.RigRow).values(slug="the-blue-bench"))
        session.execute(sa.update(t.SpecimenRow).values(label="shed-17", obtained="my garage"))
        record(
            session, actor=by(tester), act="noted", subject_kind="run", subject_id=1,
            note="the fuse blew",
        )  # fmt: skip
        keep_text(session, "Ada Quill, call me", by_id=tester.id)
    return tester


def everything(session: Session) -> str:
    return "\n".join(
        str(row)
        for table in t.Table.metadata.sorted_tables
        for row in session.execute(sa.select(table))
    )


def test_nothing_of_the_person_is_left_and_the_runs_stay(engine: Engine, ada: Tester) -> None:
    with write_session(engine) as session:
        seal_journal(session)
        before = everything(session)
        assert all(word in before for word in SECRETS)
        n_figures = session.execute(sa.select(sa.func.count()).select_from(t.MetricRow)).scalar()
        assert erase_account(session, tester_id=ada.id)
        assert not erase_account(session, tester_id=ada.id)
        seal_journal(session)
        after = everything(session)
        assert [word for word in SECRETS if word in after] == []
        run = session.execute(sa.select(t.RunRow)).scalar_one()
        assert session.get_one(t.TesterRow, run.tester_id).name == NEUTRAL_NAME
        assert (
            n_figures
            == session.execute(sa.select(sa.func.count()).select_from(t.MetricRow)).scalar()
        )
    with read_session(engine) as session:
        assert [one for one in check_journal(session) if isinstance(one, Fault)] == []
        # The figures still fit what they say they were made from.
        assert list(check_figures(session)) == []
        assert list(check_rows(session)) == []
        assert list(check_listing(session)) == []


def test_an_erased_account_opens_nothing(engine: Engine, settings: Settings) -> None:
    with write_session(engine) as session:
        token = issue_token(session, tester="Bo Marsh").token
        bo = people.tester_for_token(session, token=token)
        assert bo is not None
        key = start_session(session, tester_id=bo.id, hours=1)
        erase_account(session, tester_id=bo.id)
        assert people.tester_for_token(session, token=token) is None
        assert people.tester_for_session(session, key=key) is None
        # The name is free, and its next owner is somebody else.
        again = issue_token(session, tester="Bo Marsh")
        assert again.tester_public_id != bo.public_id


def test_a_backup_from_before_is_told_of_the_erasure(
    engine: Engine, settings: Settings, ada: Tester, tmp_path: Path
) -> None:
    archive = tmp_path / "before.tar"
    backup(settings, archive)
    with write_session(engine) as session:
        erase_account(session, tester_id=ada.id)
        note_erasure(settings.data, public_id=ada.public_id, at=now())
    engine.dispose()
    restore(settings, archive, replace=True)
    restored = make_engine(settings)
    with write_session(restored) as session:
        assert [word for word in SECRETS if word in everything(session)] == []
        seal_journal(session)
    with read_session(restored) as session:
        assert [one for one in check_journal(session) if isinstance(one, Fault)] == []
        acts = session.execute(
            sa.select(t.AuditEventRow.actor).where(t.AuditEventRow.act == "account erased")
        )
        assert acts.scalars().all() == ["system"]
    restored.dispose()
    assert list(read_erasures(settings.data)) == [ada.public_id]


def test_a_backup_carries_the_erasures_along(settings: Settings, engine: Engine, tmp_path) -> None:
    note_erasure(settings.data, public_id="0123456789", at=now())
    archive = tmp_path / "after.tar"
    backup(settings, archive)
    note_erasure(settings.data, public_id="abcdefghjk", at=now())
    engine.dispose()
    restore(settings, archive, replace=True)
    assert set(read_erasures(settings.data)) == {"0123456789", "abcdefghjk"}
    assert (settings.data / ERASURES_NAME).stat().st_mode & 0o777 == 0o600


def test_a_line_cut_off_by_a_crash_hides_no_other(tmp_path: Path) -> None:
    note_erasure(tmp_path, public_id="0123456789", at=now())
    with (tmp_path / ERASURES_NAME).open("ab") as file:
        file.write(b'{"tester": "abc')
    assert list(read_erasures(tmp_path)) == ["0123456789"]


def test_an_export_holds_all_of_it_and_no_secret(engine: Engine, ada: Tester) -> None:
    with write_session(engine) as session:
        other = issue_token(session, tester="Bo Marsh")
    with read_session(engine) as session:
        content = load_json(export_account(session, tester=ada))
        digests = set(session.execute(sa.select(t.ApiTokenRow.sha256)).scalars())
        digests |= set(session.execute(sa.select(t.WebSessionRow.sha256)).scalars())
        text = str(content)
    assert all(word in text for word in SECRETS)
    assert "$argon2id$" not in text
    assert [one for one in digests if one in text] == []
    assert content["account"]["email"] == "ada@bench.example"
    assert len(content["runs"]) == len(content["run_revisions"]) == 1
    assert {one["act"] for one in content["journal"]} >= {"token issued", "noted"}
    assert other.tester_public_id not in text


def test_everything_is_still_sound_after_an_erasure(
    engine: Engine, settings: Settings, ada: Tester
) -> None:
    """Journal, rows, catalogue, figures and files, as the whole check sees them."""

    def faults() -> list[Fault]:
        found = verify(engine, data=settings.data, files=settings.files)
        return [one for one in found if isinstance(one, Fault)]

    with write_session(engine) as session:
        seal_journal(session)
    before = faults()
    with write_session(engine) as session:
        erase_account(session, tester_id=ada.id)
        seal_journal(session)
    assert faults() == before == []
