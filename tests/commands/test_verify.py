"""`benchledger verify` on a whole data folder: sound, then each sort of fault, found and named."""

import json
from collections.abc import Callable
from pathlib import Path

import pytest
from sqlalchemy import Engine, delete, select, update
from sqlalchemy.exc import IntegrityError
from sqlalchemy.orm import Session
from typer.testing import CliRunner, Result

from server.actions.seal_journal import seal_journal
from server.actions.sign_journal import publish_heads, sign_journal
from server.cli import app
from server.credentials.signing import head_text
from server.errors import Unusable
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session, write_session
from server.store.files import original_path, recording_path
from server.store.heads import list_heads
from server.store.journal import OPERATOR, now, record
from tests.actions.test_kills import log_text
from tests.threats.fill import fill_ledger

Verify = Callable[..., Result]


@pytest.fixture
def ledger(settings: Settings, engine: Engine) -> Settings:
    """A published run with its files, a journal that is sealed and signed."""
    fill_ledger(settings, engine, log=log_text())
    with write_session(engine) as session:
        seal_journal(session)
    with write_session(engine) as session:
        sign_journal(session, data=settings.data, at=now())
    with read_session(engine) as session:
        publish_heads(session, data=settings.data)
    return settings


@pytest.fixture
def verify(ledger: Settings, monkeypatch: pytest.MonkeyPatch) -> Verify:
    monkeypatch.setenv("BENCHLEDGER_DATA", str(ledger.data))
    if ledger.database_url:
        monkeypatch.setenv("BENCHLEDGER_DATABASE_URL", ledger.database_url)

    def run(*arguments: str) -> Result:
        return CliRunner().invoke(app, ["verify", *arguments])

    return run


def test_a_sound_record(verify: Verify) -> None:
    done = verify()
    assert done.exit_code == 0, done.output
    assert done.output.rstrip().endswith("Sound.")
    assert "FAULT" not in done.output
    shape = json.loads(verify("--json").output)
    assert shape["sound"] is True
    assert shape["checked"]["files"] == 2
    assert shape["checked"]["journal"] > 3
    assert shape["checked"]["figures"] == 1
    assert shape["checked"]["listing"] == 1


def test_what_is_not_sealed_yet_is_said(verify: Verify, engine: Engine) -> None:
    with write_session(engine) as session:
        record(session, actor=OPERATOR, act="x", subject_kind="run", subject_id=1)
    done = verify()
    assert done.exit_code == 0
    assert "1 entries are not sealed yet" in done.output


def event_ids(session: Session) -> list[int]:
    return list(session.execute(select(t.AuditEventRow.id).order_by(t.AuditEventRow.id)).scalars())


def remove_entry(session: Session) -> str:
    number, after = event_ids(session)[1:3]
    session.execute(delete(t.AuditSealRow).where(t.AuditSealRow.event_id == number))
    session.execute(delete(t.AuditEventRow).where(t.AuditEventRow.id == number))
    return f"journal entry {after}: what was sealed before it was removed"


def alter_entry(session: Session) -> str:
    number = event_ids(session)[2]
    session.execute(
        update(t.AuditEventRow).where(t.AuditEventRow.id == number).values(act="another")
    )
    return f"journal entry {number}: it is not as it was sealed"


def rename_public_id(session: Session) -> str:
    session.execute(update(t.ListingRow).values(maker="Another"))
    return "the catalogue shows another maker"


def drop_words(session: Session) -> str:
    session.execute(delete(t.ListingWordRow))
    return "search words"


def change_rig(session: Session) -> str:
    session.execute(update(t.RigRevisionRow).values(arm_m=9.0))
    return "is not what its figures were made from"


def change_digest(session: Session) -> str:
    session.execute(update(t.MetricSetRow).values(input_digest="0" * 64))
    return "is not what its figures were made from"


def change_size(session: Session) -> str:
    session.execute(update(t.StoredFileRow).values(n_bytes=t.StoredFileRow.n_bytes + 1))
    return "were sent"


@pytest.mark.parametrize(
    "change",
    [
        remove_entry,
        alter_entry,
        rename_public_id,
        drop_words,
        change_rig,
        change_digest,
        change_size,
    ],
)
def test_a_row_that_was_changed_by_hand(
    verify: Verify, engine: Engine, change: Callable[[Session], str]
) -> None:
    with write_session(engine) as session:
        words = change(session)
    done = verify()
    assert done.exit_code == 1
    assert words in done.output
    assert "The record is not sound." in done.output


def flip(path: Path) -> None:
    content = bytearray(path.read_bytes())
    content[len(content) // 2] ^= 1
    path.write_bytes(content)


@pytest.mark.parametrize(
    ("kind", "harm"),
    [
        ("original", "altered"),
        ("original", "missing"),
        ("original", "shorter"),
        ("recording", "altered"),
        ("recording", "shorter"),
    ],
)
def test_a_file_that_was_harmed(
    verify: Verify, ledger: Settings, engine: Engine, kind: str, harm: str
) -> None:
    with read_session(engine) as session:
        if kind == "original":
            sha256 = session.execute(select(t.StoredFileRow.sha256)).scalar_one()
            path = original_path(ledger.files, sha256)
        else:
            sha256 = session.execute(select(t.RecordingRow.sha256)).scalar_one()
            path = recording_path(ledger.files, sha256)
    if harm == "altered":
        flip(path)
    elif harm == "missing":
        path.unlink()
    else:
        path.write_bytes(path.read_bytes()[:-10])
    done = verify()
    assert done.exit_code == 1
    assert sha256 in done.output


def test_a_recording_that_is_not_written_yet(
    verify: Verify, ledger: Settings, engine: Engine
) -> None:
    """None is missed as long as its original gives it; with both gone, both are named."""
    with read_session(engine) as session:
        recording = session.execute(select(t.RecordingRow.sha256)).scalar_one()
        original = session.execute(select(t.StoredFileRow.sha256)).scalar_one()
    recording_path(ledger.files, recording).unlink()
    done = verify()
    assert done.exit_code == 0, done.output
    assert "Recordings not written yet, which their originals give: 1." in done.output
    original_path(ledger.files, original).unlink()
    done = verify()
    assert done.exit_code == 1
    assert f"stored file {original}: the file is missing" in done.output
    assert f"recording {recording}: " in done.output
    assert "Put both back from a backup." in done.output


def test_a_file_without_a_row(verify: Verify, ledger: Settings) -> None:
    import os

    path = original_path(ledger.files, "ab" * 32)
    path.parent.mkdir(parents=True)
    path.write_text("nobody's")
    done = verify()
    assert done.exit_code == 0  # it may be on its way
    assert "1 files are on their way" in done.output
    os.utime(path, (1, 1))
    done = verify()
    assert done.exit_code == 1
    assert f"file originals/ab/{'ab' * 32}: nothing in the database refers to it." in done.output


def test_a_row_that_refers_to_nothing(verify: Verify, ledger: Settings, engine: Engine) -> None:
    """PostgreSQL checks each reference itself; SQLite can be told not to."""
    if engine.dialect.name != "sqlite":
        with engine.begin() as connection, pytest.raises(IntegrityError):
            connection.execute(delete(t.SpecimenRow))
        return
    with engine.connect() as connection:
        raw = connection.connection.driver_connection
        assert raw is not None
        raw.rollback()
        raw.execute("PRAGMA foreign_keys = OFF")
        raw.execute("DELETE FROM specimen")
        raw.execute("PRAGMA foreign_keys = ON")
    done = verify()
    assert done.exit_code == 1
    assert "there is no such specimen" in done.output


def cut_off(session: Session, n: int) -> None:
    """The journal's last entries, as somebody would take them who knows of everything."""
    session.execute(delete(t.AuditHeadRow))
    for number in reversed(event_ids(session)[-n:]):
        session.execute(delete(t.AuditSealRow).where(t.AuditSealRow.event_id == number))
        session.execute(delete(t.AuditEventRow).where(t.AuditEventRow.id == number))


@pytest.fixture
def kept_head(ledger: Settings, engine: Engine, tmp_path: Path) -> Path:
    """Today's head, as somebody keeps it elsewhere."""
    with read_session(engine) as session:
        (head,) = list_heads(session)
    path = tmp_path / "kept.txt"
    path.write_text(f"Kept on paper:\n\n> note\n{head_text(head)}\nmore\n")
    return path


def test_a_kept_head_fits(verify: Verify, kept_head: Path) -> None:
    assert verify("--head", str(kept_head)).exit_code == 0
    assert verify("--head", kept_head.read_text()).exit_code == 0


def test_an_end_that_was_cut_off_shows_by_the_published_head(
    verify: Verify, ledger: Settings, engine: Engine
) -> None:
    with write_session(engine) as session:
        cut_off(session, 2)
    done = verify()
    assert done.exit_code == 1
    assert "its end was cut off" in done.output


@pytest.mark.parametrize("goes_on", [False, True])
def test_an_end_that_was_cut_off_shows_by_a_kept_head_alone(
    verify: Verify, ledger: Settings, engine: Engine, kept_head: Path, goes_on: bool
) -> None:
    """Even where everything in the data folder was brought into line, and written on."""
    (ledger.data / "journal-heads.txt").unlink()
    with write_session(engine) as session:
        cut_off(session, 2)
    if goes_on:
        with write_session(engine) as session:
            for _ in range(4):
                record(session, actor=OPERATOR, act="x", subject_kind="run", subject_id=1)
        with write_session(engine) as session:
            seal_journal(session)
    assert verify().exit_code == 0
    done = verify("--head", str(kept_head))
    assert done.exit_code == 1
    assert "kept.txt" in done.output
    assert ("was made anew, or cut off" if goes_on else "its end was cut off") in done.output


def test_a_chain_made_anew_shows_by_a_kept_head(
    verify: Verify, ledger: Settings, engine: Engine, kept_head: Path
) -> None:
    (ledger.data / "journal-heads.txt").unlink()
    with write_session(engine) as session:
        session.execute(delete(t.AuditHeadRow))
        session.execute(delete(t.AuditSealRow))
        session.execute(update(t.AuditEventRow).values(act="nothing happened"))
    with write_session(engine) as session:
        seal_journal(session)
    assert verify().exit_code == 0
    assert verify("--head", str(kept_head)).exit_code == 1


def test_a_forged_head_is_named(verify: Verify, engine: Engine, kept_head: Path) -> None:
    text = kept_head.read_text()
    kept_head.write_text(text.replace("entries: ", "entries: 1"))
    done = verify("--head", str(kept_head))
    assert done.exit_code == 1
    assert "its signature does not fit" in done.output
    with write_session(engine) as session:
        session.execute(update(t.AuditHeadRow).values(signature="A" * 86 + "=="))
    assert "its signature does not fit" in verify().output


def test_what_is_no_head_is_refused(verify: Verify, tmp_path: Path) -> None:
    path = tmp_path / "none.txt"
    path.write_text("hello")
    for given in (str(path), str(tmp_path / "missing.txt"), "no\nhead"):
        assert isinstance(verify("--head", given).exception, Unusable)


def test_the_key_is_its_owners_alone_and_in_every_backup(
    verify: Verify, ledger: Settings, tmp_path: Path
) -> None:
    from server.actions.backup import backup, key_files, restore

    names = {path.name for path in key_files(ledger)}
    assert {"journal-key.pem", "journal-heads.txt"} <= names
    assert (ledger.data / "journal-key.pem").stat().st_mode & 0o777 == 0o600
    backup(ledger, tmp_path / "kept.tar")
    other = Settings(data=tmp_path / "restored", database_url=None)
    restore(other, tmp_path / "kept.tar")
    assert (other.data / "journal-key.pem").stat().st_mode & 0o777 == 0o600
    secret = (ledger.data / "journal-key.pem").read_bytes()
    assert (other.data / "journal-key.pem").read_bytes() == secret


def test_a_restored_backup_verifies(
    verify: Verify, ledger: Settings, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    from server.actions.backup import backup, restore

    backup(ledger, tmp_path / "kept.tar")
    restore(Settings(data=tmp_path / "restored", database_url=None), tmp_path / "kept.tar")
    monkeypatch.setenv("BENCHLEDGER_DATA", str(tmp_path / "restored"))
    monkeypatch.delenv("BENCHLEDGER_DATABASE_URL", raising=False)
    done = verify()
    assert done.exit_code == 0, done.output
