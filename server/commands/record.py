"""`benchledger record`: lines of a running test into a file, with figures beside them as they come.

Writing goes first and by itself: a line is in the file before anything is made of it, and on the
disk within half a second. What shows figures, or lets others watch, may fail or lag behind.
"""

import signal
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import FrameType

from rich.console import Console

from server.commands.credentials import server_key, token_for
from server.commands.inputs import read_bench_file
from server.commands.record_copy import readable
from server.commands.record_gauge import Gauge
from server.commands.record_lines import Recorder, SerialPort, Source, StandardInput, drain
from server.commands.record_screen import Screen
from server.commands.record_watch import Watch
from server.commands.reduce import reduce
from server.commands.send import Sending, send_log
from server.errors import BenchledgerError
from server.intake import Following, Lines
from server.model.bench import Bench
from server.wording.counts import count_of

EVERY_S = 0.2


@dataclass(frozen=True, slots=True)
class Recording:
    """What the command line says. `header`: the columns' names, where the logger prints none."""

    out: Path
    bench: Path | None
    port: str | None = None
    baud: int = 9600
    header: str | None = None
    is_sent: bool = False
    is_watched: bool = False
    title: str | None = None


def record(told: Recording, *, sending: Sending) -> None:
    """Record until the lines end or Ctrl-C, print the figures, and send the log where asked.

    Raises
    ------
    UnusableBench, UnusableLog: no figures can be had; the recording is there all the same.
    BenchledgerError: the file is there already, no such port, no token; or sending failed, and
        what was recorded waits in the spool.
    """
    bench = read_bench_file(told.bench)
    token = token_for(sending.server, sending.token) if told.is_sent or told.is_watched else ""
    console = Console()
    source: Source = SerialPort(told.port, told.baud) if told.port else StandardInput()
    recorder = Recorder(source, told.out, header=told.header)
    watch = None
    if told.is_watched:
        title = told.title or (_name_of(bench) if bench.appliance else None)
        watch = Watch(server_key(sending.server), token, title=title)
    gauge = Gauge(bench, Following(bench.columns, bench.rig.pulses_per_revolution))
    with _stop_signals() as stop:
        _follow(recorder, gauge, Screen(console), watch, stop=stop, out=told.out)
    if recorder.error is not None:
        raise BenchledgerError(
            f"{told.out} could not be written to its end ({recorder.error.strerror}). What was "
            "written before is there."
        )
    log, n_bad = readable(told.out, bench=bench)
    if n_bad:
        console.print(
            f"{count_of(n_bad, 'line')} can't be read. The figures are made from {log}, where they "
            f"are comments; {told.out} has every line as it came.",
            highlight=False,
            soft_wrap=True,
        )
    reduce(log, bench=told.bench, as_json=False, svg=None)
    if told.is_sent:
        sent = send_log(log, bench=told.bench, told=sending)
        console.print(f"Sent. The run's page: {sent.page}", highlight=False, soft_wrap=True)
        if watch is not None and sent.run is not None:
            watch.tell_run(sent.run)


def _follow(
    recorder: Recorder,
    gauge: Gauge,
    screen: Screen,
    watch: Watch | None,
    *,
    stop: threading.Event,
    out: Path,
) -> None:
    lines = Lines()
    with screen.begin(str(out)):
        recorder.start()
        while not (stop.is_set() or recorder.has_ended.is_set()):
            began = time.monotonic()
            _take(gauge, lines.feed(drain(recorder.arrived, timeout_s=EVERY_S)))
            _tell(gauge, screen, watch)
            stop.wait(max(EVERY_S - (time.monotonic() - began), 0.0))
        recorder.stop()
        _take(gauge, [*lines.feed(drain(recorder.arrived, timeout_s=0.0)), *lines.last()])
        _tell(gauge, screen, watch, is_last=True)
        if watch is not None:
            watch.end(gauge.readings())


def _take(gauge: Gauge, lines: list[bytes]) -> None:
    if not lines:
        return
    try:
        gauge.take(lines)
    except Exception as fault:  # whatever it is, the recording goes on
        gauge.note = f"No figures can be shown: {fault}"


def _tell(gauge: Gauge, screen: Screen, watch: Watch | None, *, is_last: bool = False) -> None:
    readings = gauge.readings()
    notes = [gauge.note] if gauge.note else []
    if watch is not None:
        watch.offer(readings)
        notes += watch.notes
    screen.show(readings, notes, is_last=is_last)


@contextmanager
def _stop_signals() -> Iterator[threading.Event]:
    """Ctrl-C, and being asked to end, end the recording; a second time ends the command."""
    stop = threading.Event()
    before = {s: signal.getsignal(s) for s in (signal.SIGINT, signal.SIGTERM)}

    def ask(number: int, _frame: FrameType | None) -> None:
        stop.set()
        signal.signal(number, before[signal.Signals(number)])

    for one in before:
        signal.signal(one, ask)
    try:
        yield stop
    finally:
        for one, handler in before.items():
            signal.signal(one, handler)


def _name_of(bench: Bench) -> str:
    assert bench.appliance is not None
    return f"{bench.appliance.maker} {bench.appliance.model}"
