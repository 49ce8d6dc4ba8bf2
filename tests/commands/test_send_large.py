"""`benchledger send` of a large file: a network that breaks, a process that is killed."""

import hashlib
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from sqlalchemy import Engine, select

from server.commands.pieces import PIECE_BYTES
from server.settings import Settings
from server.store import tables as t
from server.store.database import read_session
from server.store.files import original_path
from tests.api.logs import small_log
from tests.commands.serving import ROOT, command, served
from tests.commands.test_send import BENCH, left_in

MIB = 1 << 20


class Relay:
    """A network between command and server that breaks at the bytes it is told to."""

    def __init__(self, server: str) -> None:
        self.n_up = 0
        self.breaks_at: list[int] = []
        self._to = (urlsplit(server).hostname, urlsplit(server).port)
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.address = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        threading.Thread(target=self._accept, daemon=True).start()

    def _accept(self) -> None:
        with suppress(OSError):
            while True:
                near, _ = self._listener.accept()
                far = socket.create_connection(self._to)
                threading.Thread(target=self._up, args=(near, far), daemon=True).start()
                threading.Thread(target=self._down, args=(near, far), daemon=True).start()

    def _up(self, near: socket.socket, far: socket.socket) -> None:
        with suppress(OSError):
            while block := near.recv(1 << 16):
                self.n_up += len(block)
                if self.breaks_at and self.n_up >= self.breaks_at[0]:
                    self.breaks_at.pop(0)
                    break
                far.sendall(block)
        self._break(near, far)

    def _down(self, near: socket.socket, far: socket.socket) -> None:
        with suppress(OSError):
            while block := far.recv(1 << 16):
                near.sendall(block)
        self._break(near, far)

    @staticmethod
    def _break(*both: socket.socket) -> None:
        for one in both:
            with suppress(OSError):
                one.shutdown(socket.SHUT_RDWR)
            one.close()

    def end(self) -> None:
        self._listener.close()


@contextmanager
def broken(address: str, *breaks_at: int) -> Iterator[Relay]:
    relay = Relay(address)
    relay.breaks_at = list(breaks_at)
    yield relay
    relay.end()


@pytest.fixture
def log(tmp_path: Path) -> Path:
    """Of three pieces, the last one short."""
    path = tmp_path / "long.csv"
    path.write_text(small_log(dwell_s=2900))
    (tmp_path / "long.toml").write_text(BENCH)
    assert 2 * PIECE_BYTES < path.stat().st_size < 3 * PIECE_BYTES
    return path


def check_stored(settings: Settings, engine: Engine, log: Path) -> None:
    """One run, its file byte for byte under its SHA-256, nothing left of the pieces."""
    with read_session(engine) as session:
        (revision,) = session.execute(select(t.RunRevisionRow)).scalars()
        assert session.execute(select(t.DraftRow)).all() == []
    content = log.read_bytes()
    assert revision.file_sha256 == hashlib.sha256(content).hexdigest()
    assert revision.file_name == log.name
    assert original_path(settings.files, revision.file_sha256).read_bytes() == content
    for folder in ("partial", "incoming"):
        assert list((settings.files / folder).glob("*")) == []


def test_a_network_that_breaks_goes_on_where_it_stopped(ledger, log, tmp_path) -> None:
    settings, engine, token = ledger
    size = log.stat().st_size
    with served(settings) as address, broken(address, 5 * MIB, 20 * MIB) as relay:
        more = ("--server", relay.address, "--token", token, "--spool", tmp_path / "spool")
        done = command("send", log, *more)
        assert done.returncode == 0, done.stderr
        assert "Method brake-" in done.stdout
        assert relay.breaks_at == []
        assert "trying again" in done.stderr
        # Twice a piece was begun again; never the whole file.
        assert size + 6 * MIB < relay.n_up < size + 2 * PIECE_BYTES
    check_stored(settings, engine, log)
    assert left_in(tmp_path / "spool", "waiting") == []


def test_another_process_goes_on_later(ledger, log, tmp_path) -> None:
    settings, engine, token = ledger
    size, spool = log.stat().st_size, tmp_path / "spool"
    with served(settings) as address, broken(address, 12 * MIB) as relay:
        more = ("--server", relay.address, "--token", token, "--spool", spool)
        done = command("send", log, *more, "--patience", 0)
        assert done.returncode == 1
        assert "It waits in the spool" in done.stderr
        before = relay.n_up
        done = command("send", "--waiting", *more)
        assert done.returncode == 0, done.stderr
        assert relay.n_up - before < size - PIECE_BYTES + MIB
    check_stored(settings, engine, log)


@pytest.mark.parametrize("is_last", [False, True])
def test_killed_in_the_midst_it_is_stored_once(ledger, log, tmp_path, is_last) -> None:
    settings, engine, token = ledger
    spool = tmp_path / "spool"
    with served(settings) as address, broken(address) as relay:
        more = ["--server", relay.address, "--token", token, "--spool", str(spool)]
        process = subprocess.Popen(
            [sys.executable, "-m", "server.cli", "send", str(log), *more],
            cwd=ROOT, stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
        )  # fmt: skip
        # In the second piece, or while the answer to the last request is awaited.
        at = log.stat().st_size if is_last else 11 * MIB
        while relay.n_up < at and process.poll() is None:
            time.sleep(0.005)
        time.sleep(0.1 if is_last else 0)
        process.kill()
        process.wait()
        assert left_in(spool, "waiting") != []
        done = command("send", "--waiting", *more)
        assert done.returncode == 0, done.stderr
    check_stored(settings, engine, log)


def test_a_large_one_that_is_refused_leaves_nothing_there(ledger, log, tmp_path) -> None:
    settings, engine, token = ledger
    log.write_bytes(b"\x00\x01 no log " * MIB)
    with served(settings) as address:
        more = ("--server", address, "--token", token, "--spool", tmp_path / "spool")
        done = command("send", log, *more)
        assert done.returncode not in (0, 1), done.stdout
        assert left_in(tmp_path / "spool", "waiting") == []
    with read_session(engine) as session:
        assert session.execute(select(t.PartialUploadRow)).all() == []
