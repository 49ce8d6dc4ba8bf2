"""`benchledger record`: every line is in the file, whatever ends the recording."""

import contextlib
import json
import os
import pty
import random
import select
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import httpx
import pytest
from sqlalchemy import func
from sqlalchemy import select as sql_select

from server.actions.issue_token import issue_token
from server.commands.record_lines import SerialPort
from server.errors import BenchledgerError
from server.settings import Settings
from server.store import tables as t
from server.store.database import make_engine, read_session, write_session
from tests.api.logs import small_log
from tests.commands.serving import ROOT, command, free_port, served
from tests.commands.test_send import BENCH

N_KILLS = 20
HEARD_S = 0.5  # what was printed this long before the kill must be in the file


@pytest.fixture
def bench(tmp_path: Path) -> Path:
    path = tmp_path / "bench.toml"
    path.write_text(BENCH)
    return path


@contextmanager
def recording(*arguments: object, **more: object) -> Iterator[subprocess.Popen[str]]:
    process = subprocess.Popen(
        [sys.executable, "-W", "error", "-m", "server.cli", "record", *map(str, arguments)],
        cwd=ROOT, stdin=subprocess.PIPE, text=True, stdout=subprocess.PIPE,
        stderr=subprocess.PIPE, **more,
    )  # fmt: skip
    try:
        yield process
    finally:
        process.kill()
        process.wait()
        for stream in (process.stdin, process.stdout, process.stderr):
            assert stream is not None
            with contextlib.suppress(BrokenPipeError):
                stream.close()


def say(process: subprocess.Popen[str], text: str) -> None:
    assert process.stdin is not None
    process.stdin.write(text)
    process.stdin.flush()


def wait_for(path: Path, *, n_bytes: int) -> None:
    deadline = time.monotonic() + 60
    while not path.exists() or path.stat().st_size < n_bytes:
        assert time.monotonic() < deadline, f"{path} did not grow to {n_bytes} bytes"
        time.sleep(0.02)


def test_lines_end_and_the_figures_are_those_of_reduce(tmp_path, bench) -> None:
    log = small_log()
    out = tmp_path / "run.csv"
    done = command_with_input("record", "--out", out, "--bench", bench, text=log)
    assert done.returncode == 0, done.stderr
    assert out.read_text() == log
    reduced = command("reduce", out, "--bench", bench)
    assert done.stdout.endswith(plain(reduced.stdout))
    assert done.stdout.startswith("Before switching on: brake engaged")
    assert "Power at the brake".casefold() in done.stdout.casefold()
    assert f"{log.count(chr(10))} lines written." in done.stdout


def command_with_input(*arguments: object, text: str) -> subprocess.CompletedProcess[str]:
    """Run to its end; what it printed with plain spaces."""
    done = subprocess.run(
        [sys.executable, "-W", "error", "-m", "server.cli", *map(str, arguments)],
        cwd=ROOT, input=text, text=True, capture_output=True, check=False,
    )  # fmt: skip
    done.stdout = plain(done.stdout)
    return done


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u202f", " ")


@pytest.mark.parametrize("nth", range(N_KILLS))
def test_killed_at_any_moment_no_line_is_lost(tmp_path, bench, nth) -> None:
    """SIGKILL while lines pour in: the file is what was printed so far, to the byte."""
    out = tmp_path / "run.csv"
    lines = small_log(dwell_s=60).splitlines(keepends=True)
    rng = random.Random(nth)
    printed: list[tuple[float, int]] = []
    with recording("--out", out, "--bench", bench) as process:
        say(process, "".join(lines[:3]))
        wait_for(out, n_bytes=len("".join(lines[:3])))
        n, kill_at = 3, time.monotonic() + 3.0 * rng.random()
        while time.monotonic() < kill_at:
            step = rng.choice((1, 1, 3, 40))
            say(process, "".join(lines[n : n + step]))
            n += step
            printed.append((time.monotonic(), n))
            time.sleep(0.05 * rng.random())
        quiet = HEARD_S if nth % 2 else 0.0
        time.sleep(quiet)
        killed = time.monotonic()
        process.send_signal(signal.SIGKILL)
        process.wait()
    written = out.read_text()
    assert "".join(lines[:n]).startswith(written)
    heard = max((k for at, k in printed if at < killed - HEARD_S), default=3)
    assert written.count("\n") >= heard
    if quiet:
        assert written == "".join(lines[:n])


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_ctrl_c_ends_the_recording_and_gives_the_figures(tmp_path, bench, number) -> None:
    out, log = tmp_path / "run.csv", small_log()
    with recording("--out", out, "--bench", bench) as process:
        say(process, log)
        wait_for(out, n_bytes=len(log))
        process.send_signal(number)
        stdout, stderr = process.communicate(timeout=60)
    assert process.returncode == 0, stderr
    assert out.read_text() == log
    assert "Shaft, highest steady" in stdout
    assert "Traceback" not in stderr


def test_lines_that_can_not_be_read_are_kept_and_counted(tmp_path, bench) -> None:
    lines = small_log().splitlines(keepends=True)
    lines.insert(200, "0.1,gar\n")
    lines.insert(90, "#\x02 resync ~~\n")
    lines.insert(40, "2.0,x9,0.1,1,120,150\n")
    out = tmp_path / "run.csv"
    done = command_with_input("record", "--out", out, "--bench", bench, text="".join(lines))
    assert done.returncode == 0, done.stderr
    assert out.read_text() == "".join(lines)
    assert "2 of them can't be read (they are kept)" in done.stdout
    assert "2 lines can't be read. The figures are made from" in done.stdout
    good = tmp_path / "good.csv"
    good.write_text(small_log())
    figures = plain(command("reduce", good, "--bench", bench).stdout)
    assert figures.splitlines()[:6] == done.stdout.splitlines()[-len(figures.splitlines()) :][:6]


def test_an_earlier_recording_is_never_overwritten(tmp_path, bench) -> None:
    out = tmp_path / "run.csv"
    out.write_text("what was measured yesterday\n")
    done = command_with_input("record", "--out", out, "--bench", bench, text=small_log())
    assert done.returncode == 1
    assert "is there already" in done.stderr
    assert out.read_text() == "what was measured yesterday\n"


def test_names_may_be_given_where_the_logger_prints_none(tmp_path, bench) -> None:
    header, *rows = small_log().splitlines(keepends=True)
    out = tmp_path / "run.csv"
    done = command_with_input(
        "record", "--out", out, "--bench", bench, "--header", header.strip(), text="".join(rows)
    )
    assert done.returncode == 0, done.stderr
    assert out.read_text() == small_log()


def test_torque_comes_from_force_and_arm_in_their_units(tmp_path, bench) -> None:
    lines = ["time (s),speed (rpm),force (lbf)\n"]
    lines += [f"{i / 10:.1f},{9000 - 2 * i},{2 + 0.01 * i:.2f}\n" for i in range(200)]
    out = tmp_path / "run.csv"
    done = command_with_input("record", "--out", out, "--bench", bench, text="".join(lines))
    newton_metres = (2 + 0.01 * 199) * 4.4482216152605 * 0.1
    assert f"highest {newton_metres:.2f} N·m" in done.stdout


def test_on_a_terminal_the_figures_stand_in_a_table(tmp_path, bench) -> None:
    out, log = tmp_path / "run.csv", small_log()
    handle, terminal = pty.openpty()
    process = subprocess.Popen(
        [sys.executable, "-m", "server.cli", "record", "--out", out, "--bench", bench],
        cwd=ROOT, stdin=subprocess.PIPE, stdout=terminal, text=True,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "100"},
    )  # fmt: skip
    os.close(terminal)
    assert process.stdin is not None
    process.stdin.write(log)
    process.stdin.close()
    shown = b""
    while True:
        try:
            shown += os.read(handle, 65536)
        except OSError:  # the terminal is gone with its process
            break
    assert process.wait(60) == 0
    os.close(handle)
    assert b"highest so far" in shown
    assert "Power at the brake" in shown.decode()


def test_what_was_recorded_is_sent_or_waits(sqlite_settings: Settings, tmp_path, bench) -> None:
    engine = make_engine(sqlite_settings)
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    port, spool = free_port(), tmp_path / "spool"
    more = ("--bench", bench, "--send", "--server", f"http://127.0.0.1:{port}", "--token", token,
            "--spool", spool, "--patience", 0)  # fmt: skip
    out = tmp_path / "run.csv"
    done = command_with_input("record", "--out", out, *more, text=small_log())
    assert done.returncode == 1
    assert "Shaft, highest steady" in done.stdout
    assert "It waits in the spool" in done.stderr
    with served(sqlite_settings, port=port) as address:
        sending = ("--server", address, "--token", token, "--spool", spool)
        assert command("send", "--waiting", *sending).returncode == 0
        done = command_with_input(
            "record", "--out", tmp_path / "other.csv", *more, text=small_log(dwell_s=1.5)
        )
        assert done.returncode == 0, done.stderr
        assert "Sent. The run's page: http" in done.stdout
    with read_session(engine) as session:
        assert session.scalar(sql_select(func.count()).select_from(t.RunRow)) == 2
    engine.dispose()


def test_a_token_that_is_missing_is_told_before_the_test(tmp_path, bench) -> None:
    done = command_with_input(
        "record", "--out", tmp_path / "run.csv", "--bench", bench, "--send", text=small_log()
    )
    assert done.returncode == 1
    assert "token" in done.stderr
    assert not (tmp_path / "run.csv").exists()


def test_a_server_that_never_answers_holds_nothing_up(tmp_path, bench) -> None:
    with socket.socket() as deaf:
        deaf.bind(("127.0.0.1", 0))
        deaf.listen()
        address = f"http://127.0.0.1:{deaf.getsockname()[1]}"
        out, log = tmp_path / "run.csv", small_log()
        more = ("--watch", "--server", address, "--token", "t")
        with recording("--out", out, "--bench", bench, *more) as process:
            say(process, log)
            started = time.monotonic()
            wait_for(out, n_bytes=len(log))
            assert time.monotonic() - started < 20  # a fresh process that loads the numerics
            process.send_signal(signal.SIGINT)
            stdout, stderr = process.communicate(timeout=60)
    assert process.returncode == 0, stderr
    assert "Shaft, highest steady" in stdout


def test_a_serial_port_needs_its_library_and_says_so(tmp_path, bench) -> None:
    script = (
        "import sys; sys.modules['serial'] = None; sys.argv = ['benchledger', *sys.argv[1:]]; "
        "from server.cli import main; main()"
    )
    done = subprocess.run(
        [sys.executable, "-c", script, "record", "--port", "/dev/ttyUSB0",
         "--out", str(tmp_path / "run.csv"), "--bench", str(bench)],
        cwd=ROOT, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert done.returncode == 1
    assert "pip install 'benchledger[serial]'" in done.stderr
    assert not (tmp_path / "run.csv").exists()


class FakePort:
    """What pyserial gives, over a pseudo-terminal."""

    def __init__(self, name: str, baudrate: int, timeout: float) -> None:
        self._handle = os.open(name, os.O_RDONLY | os.O_NOCTTY)
        self.in_waiting = 1

    def read(self, n: int) -> bytes:
        ready, _, _ = select.select([self._handle], [], [], 0.1)
        arrived = os.read(self._handle, n) if ready else b""
        if ready and not arrived:
            raise OSError("device reports readiness to read but returned no data")
        return arrived

    def close(self) -> None:
        os.close(self._handle)


def test_lines_of_a_port_are_read_and_a_lost_port_ends_it(monkeypatch) -> None:
    module = type(sys)("serial")
    module.serial_for_url = FakePort  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "serial", module)
    handle, terminal = pty.openpty()
    port = SerialPort(os.ttyname(terminal), 9600)
    writing = threading.Thread(target=os.write, args=(handle, b"0.1,200\n"))
    writing.start()
    got = b""
    deadline = time.monotonic() + 10
    while b"\n" not in got:
        assert time.monotonic() < deadline
        read = port.read()
        assert read is not None
        got += read
    writing.join()
    assert got.replace(b"\r\n", b"\n") == b"0.1,200\n"
    os.close(terminal)
    os.close(handle)
    while (last := port.read()) == b"":
        assert time.monotonic() < deadline
    assert last is None
    port.close()
    with pytest.raises(BenchledgerError, match="can't be opened"):
        SerialPort("/dev/there-is-none", 9600)


def test_json_of_the_readings_is_small(bench) -> None:
    from server.commands.record_gauge import Gauge
    from server.commands.record_watch import shape_of
    from server.intake import Following, read_bench

    gauge = Gauge(read_bench(bench.read_bytes(), name="bench"), Following())
    lines = small_log(dwell_s=300).encode().splitlines(keepends=True)
    for i in range(0, len(lines), 500):
        gauge.take(lines[i : i + 500])
    shape = shape_of(gauge.readings())
    assert len(shape["trace_s"]) <= 240
    assert len(json.dumps(shape)) < 10_000
    assert shape["highest"]["shaft_power"] == pytest.approx(452, abs=2)


def test_others_watch_while_it_goes_on_and_are_led_to_the_run(
    sqlite_settings: Settings, tmp_path, bench
) -> None:
    engine = make_engine(sqlite_settings)
    with write_session(engine) as session:
        token = issue_token(session, tester="Ada Quill").token
    lines = small_log().splitlines(keepends=True)
    out = tmp_path / "run.csv"
    with served(sqlite_settings) as address:
        more = ("--watch", "--send", "--server", address, "--token", token,
                "--spool", tmp_path / "spool")  # fmt: skip
        with recording("--out", out, "--bench", bench, *more) as process:
            say(process, "".join(lines[:200]))
            seen = watched(engine, address, until=lambda s: bool(s["now"]))
            assert seen["ended_at"] is None
            assert seen["title"] == "Millbeck WD-30"
            assert seen["highest"]["shaft_power"] == pytest.approx(448, abs=5)
            assert seen["highest"]["torque"] == pytest.approx(0.4, abs=0.01)
            say(process, "".join(lines[200:]))
            stdout, stderr = process.communicate(timeout=60)
            assert process.returncode == 0, stderr
        assert f"Others may watch at {address}/live/" in stdout
        seen = watched(engine, address, until=lambda s: s["run"] is not None)
        assert seen["ended_at"] is not None
        assert seen["n_updates"] <= 60
        assert seen["highest"]["torque"] == pytest.approx(0.7, abs=0.01)
    engine.dispose()


def watched(engine, address: str, *, until) -> dict:
    """What watchers read, once it is as waited for."""
    deadline = time.monotonic() + 60
    while True:
        with read_session(engine) as session:
            test = session.scalar(sql_select(t.LiveTestRow.address))
        if test is not None:
            seen = httpx.get(f"{address}/api/v1/live/{test}").json()
            if until(seen):
                return dict(seen)
        assert time.monotonic() < deadline, "the watchers never saw it"
        time.sleep(0.1)
