"""Backup and restore: everything comes back, on either database, or nothing is touched."""

import tarfile
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
import sqlalchemy as sa
from sqlalchemy import Engine

from server.actions.backup import backup, restore
from server.actions.check_journal import check_journal
from server.actions.issue_token import issue_token
from server.actions.save_draft import save_draft
from server.actions.seal_journal import seal_journal
from server.actions.submit_run import submit_run
from server.errors import Conflict, NotFound, Unusable
from server.intake import load_recording
from server.model.views import RunView, Tester
from server.settings import Settings
from server.store.database import make_engine, migrate, read_session, write_session
from server.store.files import ORIGINALS, RECORDINGS, original_path
from server.store.runs import run_view
from server.store.tables import Table
from tests.actions.examples import (
    LOG,
    example_bench,
    example_prepared,
    example_upload,
)
from tests.conftest import postgresql_database


@pytest.fixture
def run_id(settings: Settings, engine: Engine, tester: Tester) -> str:
    """A database with a published run, a draft, a sealed journal and a key file."""
    bench = example_bench()
    upload = example_upload(settings.files)
    prepared = example_prepared(settings.files, upload, bench)
    with write_session(engine) as session:
        done = submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
    second = example_upload(settings.files, text=LOG + "3,1000,0.3\n", name="second.csv")
    with write_session(engine) as session:
        save_draft(session, tester=tester, form={"maker": "Millbeck"}, upload=second)
        seal_journal(session)
    key = settings.data / "demo-token"
    key.write_text("bl_secret\n")
    key.chmod(0o600)
    return done.public_id


@contextmanager
def fresh(kind: str, folder: Path) -> Iterator[Settings]:
    folder.mkdir()
    if kind == "sqlite":
        yield Settings(data=folder)
        return
    with postgresql_database() as url:
        yield Settings(data=folder, database_url=url)


def all_rows(settings: Settings) -> dict[str, list[tuple[object, ...]]]:
    engine = make_engine(settings)
    with engine.connect() as connection:
        found = {
            name: [
                tuple(row)
                for row in connection.execute(sa.select(table).order_by(*table.primary_key.columns))
            ]
            for name, table in Table.metadata.tables.items()
        }
    engine.dispose()
    return found


def view_in(settings: Settings, public_id: str) -> RunView:
    engine = make_engine(settings)
    with read_session(engine) as session:
        view = run_view(session, public_id=public_id, viewer=None)
    engine.dispose()
    return view


@pytest.mark.parametrize("name", ["all.tar", "all.tar.gz"])
@pytest.mark.parametrize(
    "into", ["sqlite", pytest.param("postgresql", marks=pytest.mark.postgresql)]
)
def test_everything_comes_back(
    settings: Settings, run_id: str, tmp_path: Path, into: str, name: str
) -> None:
    archive = tmp_path / name
    backup(settings, archive)
    with fresh(into, tmp_path / "restored") as target:
        done = restore(target, archive)
        assert all_rows(target) == all_rows(settings)
        assert done.n_rows == sum(len(rows) for rows in all_rows(settings).values())
        assert done.n_files == 3
        view = view_in(target, run_id)
        assert original_path(target.files, view.file.sha256).read_text() == LOG
        key = target.data / "demo-token"
        assert key.read_text() == "bl_secret\n"
        assert key.stat().st_mode & 0o777 == 0o600


def test_the_restored_service_goes_on(settings: Settings, run_id: str, tmp_path: Path) -> None:
    """New rows get new keys, the journal's chain holds and grows."""
    archive = tmp_path / "all.tar"
    backup(settings, archive)
    restore(settings, archive, replace=True)
    engine = make_engine(settings)
    with write_session(engine) as session:
        issue_token(session, tester="Somebody Else")
        assert seal_journal(session) == 2  # the token, and the consent it stands for
        assert list(check_journal(session)) == []
    engine.dispose()
    assert view_in(settings, run_id).public_id == run_id


def test_recordings_come_back_readable(settings: Settings, run_id: str, tmp_path: Path) -> None:
    archive = tmp_path / "all.tar"
    backup(settings, archive)
    target = Settings(data=tmp_path / "restored")
    restore(target, archive)
    (path,) = (target.files / RECORDINGS).rglob("*.parquet")
    assert load_recording(path).time_s.tolist() == [0.0, 1.0, 2.0]


def test_a_target_with_data_is_refused_unless_told(
    settings: Settings, run_id: str, tmp_path: Path
) -> None:
    archive = tmp_path / "all.tar"
    backup(settings, archive)
    before = all_rows(settings)
    with pytest.raises(Conflict):
        restore(settings, archive)
    assert all_rows(settings) == before


def test_a_migrated_but_empty_target_is_fine(
    settings: Settings, run_id: str, tmp_path: Path
) -> None:
    archive = tmp_path / "all.tar"
    backup(settings, archive)
    target = Settings(data=tmp_path / "restored")
    migrate(target)
    restore(target, archive)
    assert all_rows(target) == all_rows(settings)


def test_a_damaged_archive_changes_nothing(sqlite_settings: Settings, tmp_path: Path) -> None:
    good, bad = tmp_path / "good.tar", tmp_path / "bad.tar"
    backup(sqlite_settings, good)
    with tarfile.open(good) as read, tarfile.open(bad, "w") as write:
        for member in read.getmembers():
            content = read.extractfile(member)
            assert content is not None
            data = content.read()
            if member.name == "database/run.jsonl":
                data = data.replace(b"state", b"stale")
            member.size = len(data)
            import io

            write.addfile(member, io.BytesIO(data))
    target = Settings(data=tmp_path / "restored")
    with pytest.raises(Unusable, match="damaged"):
        restore(target, bad)
    assert not (target.data / "files").exists()


@pytest.mark.parametrize("content", [b"", b"not an archive", None])
def test_what_is_no_backup_is_refused(tmp_path: Path, content: bytes | None) -> None:
    archive = tmp_path / "some.tar"
    if content is not None:
        archive.write_bytes(content)
    with pytest.raises(Unusable):
        restore(Settings(data=tmp_path / "restored"), archive)


def test_an_archive_cannot_write_outside(tmp_path: Path) -> None:
    archive = tmp_path / "evil.tar"
    (tmp_path / "payload").write_text("x")
    with tarfile.open(archive, "w") as write:
        write.add(tmp_path / "payload", arcname="../escaped")
    with pytest.raises(Unusable):
        restore(Settings(data=tmp_path / "restored"), archive)
    assert not (tmp_path / "escaped").exists()


def test_a_missing_stored_file_is_said(settings: Settings, run_id: str, tmp_path: Path) -> None:
    for path in (settings.files / ORIGINALS).rglob("*"):
        if path.is_file():
            path.unlink()
    with pytest.raises(NotFound, match="missing"):
        backup(settings, tmp_path / "all.tar")
    assert not (tmp_path / "all.tar").exists()
    assert not list(tmp_path.glob(".*.tar"))


def test_a_target_that_is_there_is_kept(sqlite_settings: Settings, tmp_path: Path) -> None:
    archive = tmp_path / "all.tar"
    archive.write_text("precious")
    with pytest.raises(Conflict):
        backup(sqlite_settings, archive)
    assert archive.read_text() == "precious"
