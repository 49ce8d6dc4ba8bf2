"""Recordings on their way to the disk, behind the answers."""

import logging
from concurrent.futures import Future, ThreadPoolExecutor
from pathlib import Path
from typing import TYPE_CHECKING

from server.actions.give_way import give_way

if TYPE_CHECKING:  # it brings the numerics, which a web process loads with its first log
    from server.actions.prepare_run import PreparedRun

_log = logging.getLogger("benchledger")
# Each is held in memory until it is written.
_MOST_WAITING = 2


class LaterRecordings:
    """Keeps the recordings of runs that are stored, one after the other.

    One that is not kept, because too many wait or the process ends, is made by the worker from its
    log (`keep_missing`).
    """

    def __init__(self, files: Path) -> None:
        self._files = files
        self._thread = ThreadPoolExecutor(1, "keeps recordings", initializer=give_way)
        self._waiting: set[Future[Path]] = set()

    def add(self, prepared: "PreparedRun") -> None:
        """Keep the recording of a run whose row is committed."""
        from server.actions.keep_recording import keep_recording

        if len(self._waiting) >= _MOST_WAITING:
            return
        recording, sha256 = prepared.log.recording, prepared.recording_sha256
        try:
            kept = self._thread.submit(keep_recording, recording, sha256=sha256, files=self._files)
        except RuntimeError:  # closed: the process is about to end
            return
        self._waiting.add(kept)
        kept.add_done_callback(self._done)

    def _done(self, kept: "Future[Path]") -> None:
        self._waiting.discard(kept)
        error = kept.exception()
        if error is not None:
            _log.error("a recording could not be kept: %s", error)

    def close(self) -> None:
        """Write what still waits."""
        self._thread.shutdown()
