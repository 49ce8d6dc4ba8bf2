"""Where lines come from, and the file that has every one of them before anything else is done."""

import os
import queue
import select
import sys
import threading
import time
from collections.abc import Callable
from importlib import import_module
from pathlib import Path
from typing import Any, Protocol

from server.errors import BenchledgerError

SYNC_EVERY_S = 0.5
_READ_BYTES = 1 << 16
_LAST_LINE_S = 0.5
_NO_SERIAL = (
    "Reading a serial port needs pyserial: install it with `pip install 'benchledger[serial]'` "
    "(or `pip install pyserial`), or pipe the port's lines into standard input."
)


class Source(Protocol):
    """`read` gives what has arrived, b"" for nothing yet, None once no more will come."""

    def read(self) -> bytes | None: ...

    def close(self) -> None: ...


class StandardInput:
    def __init__(self) -> None:
        self._handle = sys.stdin.fileno()

    def read(self) -> bytes | None:
        ready, _, _ = select.select([self._handle], [], [], 0.1)
        if not ready:
            return b""
        return os.read(self._handle, _READ_BYTES) or None

    def close(self) -> None:
        pass


class SerialPort:
    def __init__(self, port: str, baud: int) -> None:
        try:
            serial: Any = import_module("serial")
        except ImportError as error:
            raise BenchledgerError(_NO_SERIAL) from error
        try:
            self._port: Any = serial.serial_for_url(port, baudrate=baud, timeout=0.1)
        except (OSError, ValueError) as error:  # SerialException is an OSError
            raise BenchledgerError(f"{port} can't be opened: {error}.") from error

    def read(self) -> bytes | None:
        try:
            return bytes(self._port.read(max(1, self._port.in_waiting)))
        except OSError as error:
            sys.stderr.write(f"The port is gone ({error}); the recording ends here.\n")
            return None

    def close(self) -> None:
        self._port.close()


class Recorder:
    """Two threads: one writes what arrives, one sees that it is on the disk.

    What was written is handed on through `arrived`, which is without bounds: showing figures may
    fall behind, writing may not.
    """

    def __init__(self, source: Source, out: Path, *, header: str | None) -> None:
        self.arrived: queue.SimpleQueue[bytes] = queue.SimpleQueue()
        self.error: OSError | None = None
        self.has_ended = threading.Event()
        self._source = source
        self._stop = threading.Event()
        self._stop_by = 0.0
        self._is_dirty = threading.Event()
        self._handle = _create(out)
        if header is not None:
            self._write(header.encode() + b"\n")
        self._threads = [
            threading.Thread(target=target, daemon=True, name=name)
            for target, name in ((self._read_all, "read and write"), (self._sync_all, "sync"))
        ]

    def start(self) -> None:
        for thread in self._threads:
            thread.start()

    def stop(self) -> None:
        """End cleanly: what has arrived is written and on the disk."""
        self._stop_by = time.monotonic() + _LAST_LINE_S
        self._stop.set()
        for thread in self._threads:
            thread.join()
        os.fsync(self._handle)
        os.close(self._handle)
        self._source.close()

    def _read_all(self) -> None:
        try:
            while (chunk := self._source.read()) is not None:
                if chunk:
                    self._write(chunk)
                if self._stop.is_set() and self._may_stop(chunk):
                    break
        except OSError as error:
            self.error = error
        finally:
            self.has_ended.set()

    def _may_stop(self, chunk: bytes) -> bool:
        """At the end of a line, or when the logger is silent; it may be neither for long."""
        return not chunk or chunk.endswith(b"\n") or time.monotonic() > self._stop_by

    def _write(self, chunk: bytes) -> None:
        left = memoryview(chunk)
        while left:
            left = left[os.write(self._handle, left) :]
        self._is_dirty.set()
        self.arrived.put(chunk)

    def _sync_all(self) -> None:
        while not self.has_ended.wait(SYNC_EVERY_S):
            if not self._is_dirty.is_set():
                continue
            self._is_dirty.clear()
            try:
                os.fsync(self._handle)
            except OSError as error:
                self.error = error
                self._stop.set()
                return


def _create(out: Path) -> int:
    """A new file: an earlier recording is never overwritten."""
    try:
        return os.open(out, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o644)
    except FileExistsError as error:
        raise BenchledgerError(f"{out} is there already. Choose another name for --out.") from error
    except OSError as error:
        raise BenchledgerError(f"{out} can't be written ({error.strerror}).") from error


def drain(arrived: "queue.SimpleQueue[bytes]", *, timeout_s: float) -> bytes:
    """All that was written since, waiting a while for the first of it."""
    parts: list[bytes] = []
    get: Callable[..., bytes] = arrived.get
    try:
        parts.append(get(timeout=timeout_s))
        while True:
            parts.append(get(block=False))
    except queue.Empty:
        return b"".join(parts)
