"""Recordings are written behind the answers: what is missing is made from its log, the same."""

from collections.abc import Callable
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest
from sqlalchemy import Engine, select

from server.actions import keep_recording as module
from server.actions.backup import backup, restore
from server.actions.keep_recording import keep_missing
from server.actions.prepare_run import PreparedRun, prepare_run
from server.actions.recompute_runs import recompute_runs
from server.actions.submit_run import submit_run
from server.dependencies.recordings import LaterRecordings
from server.errors import NotFound
from server.intake import ReadLimits, load_recording
from server.model.bench import ColumnChoice
from server.model.views import Tester
from server.model.words import Channel
from server.settings import Settings
from server.store import tables as t
from server.store.database import make_engine, read_session, write_session
from server.store.files import original_path, recording_path
from server.store.journal import now
from tests.actions.examples import example_bench, example_upload
from tests.actions.test_kills import log_text

AT_ONCE = timedelta(0)
Send = Callable[..., PreparedRun]


@pytest.fixture
def send(settings: Settings, engine: Engine, tester: Tester) -> Send:
    """A run that is stored, as if its process had ended before its recording was written."""

    def sending(log: str = "", *, model: str = "WD 30") -> PreparedRun:
        bench = example_bench(model=model)
        # A word of the sender's that the log does not say by itself: it must be heeded again.
        choice = ColumnChoice("pull", Channel.TORQUE, "N·m")
        bench = replace(bench, columns=(choice,))
        upload = example_upload(settings.files, text=log or _log())
        prepared = prepare_run(upload.path, file_name=upload.name, bench=bench, limits=ReadLimits())
        with write_session(engine) as session:
            submit_run(session, prepared=prepared, upload=upload, bench=bench, tester=tester)
        return prepared

    return sending


def _log(extra: str = "") -> str:
    return log_text().replace("torque [N m]", "pull") + extra


def missing(engine: Engine, settings: Settings, **named: object) -> list[str]:
    return list(keep_missing(engine, files=settings.files, min_age=AT_ONCE, **named))  # type: ignore[arg-type]


def test_a_missing_recording_is_made_as_it_was(
    send: Send, settings: Settings, engine: Engine
) -> None:
    prepared = send()
    place = recording_path(settings.files, prepared.recording_sha256)
    assert not place.exists()
    (told,) = missing(engine, settings)
    assert told == f"The recording {prepared.recording_sha256} was made anew from its file."
    kept, read = load_recording(place), prepared.log.recording
    assert kept.time_s.tobytes() == read.time_s.tobytes()
    assert list(kept.channels) == list(read.channels)
    for channel, values in read.channels.items():
        assert kept.channels[channel].tobytes() == values.tobytes()
    written_at = place.stat().st_mtime_ns
    assert missing(engine, settings) == []
    assert place.stat().st_mtime_ns == written_at


def test_a_young_one_is_left_to_who_read_it(send: Send, settings: Settings, engine: Engine) -> None:
    prepared = send()
    assert list(keep_missing(engine, files=settings.files)) == []
    assert not recording_path(settings.files, prepared.recording_sha256).exists()


@pytest.mark.parametrize("harm", ["missing", "altered", "no log"])
def test_one_that_cannot_be_made_is_told_once(
    send: Send, settings: Settings, engine: Engine, harm: str
) -> None:
    prepared, whole = send(), send(_log("24.05,120,2,240,0,2000\n"), model="Shed 40")
    original = original_path(settings.files, prepared.file_sha256)
    if harm == "missing":
        original.unlink()
        words = "that is missing. Put both back from a backup."
    elif harm == "altered":
        original.write_text(original.read_text().replace("2000,", "2001,", 1).replace("120", "119"))
        words = "that reads otherwise today. Put both back from a backup."
    else:
        original.write_text("nothing of a log")
        words = ": run.csv: "
    told = missing(engine, settings)
    assert len(told) == 2
    (refusal,) = [line for line in told if words in line]
    assert prepared.recording_sha256 in refusal
    assert prepared.file_sha256 in refusal
    assert recording_path(settings.files, whole.recording_sha256).is_file()
    assert not recording_path(settings.files, prepared.recording_sha256).exists()
    assert missing(engine, settings, since=now()) == []
    assert len(missing(engine, settings)) == 1


def test_figures_are_made_anew_from_the_log_where_no_recording_is(
    send: Send, settings: Settings, engine: Engine
) -> None:
    prepared = send()
    (change,) = recompute_runs(engine, files=settings.files)
    assert not change.is_new_set
    assert change.metrics == ()
    original_path(settings.files, prepared.file_sha256).unlink()
    with pytest.raises(NotFound, match="Put both back"):
        list(recompute_runs(engine, files=settings.files))


def test_a_backup_without_it_is_whole(
    send: Send, settings: Settings, engine: Engine, tmp_path: Path
) -> None:
    prepared = send()
    archive = tmp_path / "all.tar"
    backup(settings, archive)
    target = Settings(data=tmp_path / "restored")
    restore(target, archive)
    restored = make_engine(target)
    (told,) = missing(restored, target)
    restored.dispose()
    assert prepared.recording_sha256 in told
    place = recording_path(target.files, prepared.recording_sha256)
    assert len(load_recording(place).time_s) == prepared.log.n_rows


def test_one_that_no_run_refers_to_is_passed_over(settings: Settings, engine: Engine) -> None:
    with write_session(engine) as session:
        session.add(t.RecordingRow(sha256="ab" * 32, n_rows=3, created_at=now()))
    assert missing(engine, settings) == []
    with read_session(engine) as session:
        assert session.execute(select(t.RecordingRow.sha256)).scalar_one() == "ab" * 32


class TestLater:
    """The thread of a web process that writes them."""

    def test_closing_waits_for_those_that_are_left(self, send: Send, settings: Settings) -> None:
        later = LaterRecordings(settings.files)
        prepared = send()
        later.add(prepared)
        later.close()
        assert recording_path(settings.files, prepared.recording_sha256).is_file()
        later.add(send(_log("24.05,120,2,240,0,2000\n")))  # closed: left to the worker
        assert len(list(settings.files.glob("recordings/*/*"))) == 1

    def test_no_more_than_two_are_held(
        self, send: Send, settings: Settings, monkeypatch: pytest.MonkeyPatch
    ) -> None:
        from threading import Event

        go, kept = Event(), []

        def slowly(_recording: object, *, sha256: str, files: Path) -> Path:
            assert go.wait(20)
            kept.append(sha256)
            return files

        monkeypatch.setattr(module, "keep_recording", slowly)
        later, prepared = LaterRecordings(settings.files), send()
        for n in range(4):
            later.add(replace(prepared, recording_sha256=str(n)))
        go.set()
        later.close()
        assert kept == ["0", "1"]

    def test_a_failure_is_logged_and_the_next_is_kept(
        self,
        send: Send,
        settings: Settings,
        monkeypatch: pytest.MonkeyPatch,
        caplog: pytest.LogCaptureFixture,
    ) -> None:
        def full(*_: object, **__: object) -> Path:
            raise OSError(28, "No space left on device")

        later, prepared = LaterRecordings(settings.files), send()
        with monkeypatch.context() as patch:
            patch.setattr(module, "keep_recording", full)
            later.add(prepared)
        later.add(prepared)
        later.close()
        assert "No space left on device" in caplog.text
        assert recording_path(settings.files, prepared.recording_sha256).is_file()
