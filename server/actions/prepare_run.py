"""Make the figures of an upload before any session is opened."""

import hashlib
from collections.abc import Callable, Mapping
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from server.actions.give_way import give_way
from server.actions.reduce_log import options_for, read_described_log, reduce_described
from server.intake import ReadAhead, ReadLimits, recording_digest
from server.model.bench import Bench
from server.model.recording import LogRead, Recording
from server.model.results import Reduction
from server.reduction import input_digest
from server.store.identity import content_sha256


@dataclass(frozen=True, slots=True)
class PreparedRun:
    file_sha256: str
    n_bytes: int
    log: LogRead
    recording_sha256: str
    reduction: Reduction
    input_digest: str
    bench: Bench


def prepare_run(
    path: Path,
    *,
    file_name: str,
    bench: Bench,
    limits: ReadLimits,
    sha256: str | None = None,
    ahead: ReadAhead | None = None,
    meanwhile: Callable[[], object] | None = None,
) -> PreparedRun:
    """Read a log and reduce it. Opens no session.

    Parameters
    ----------
    path : the file as received, already in its place or not.
    file_name : what the sender called it.
    bench : plate, rig and run details the figures are made with. Where the run will refer to
        stored things by id, complete it first (`complete_bench`).
    limits : sizes above which a file is refused.
    sha256 : digest of the file, if the receiver has it; else it is computed.
    ahead : what was read of the file while it arrived.
    meanwhile : called once the file has proved usable, while it is reduced. It may move the file.

    Returns
    -------
    PreparedRun, to be handed to `submit_run`, and then to `keep_recording`: nobody waits for that.

    Raises
    ------
    UnusableLog: the file can't be used; every problem found is named.
    TooLarge: over a limit of the settings.
    """
    log = read_described_log(path, file_name=file_name, bench=bench, limits=limits, ahead=ahead)
    n_bytes, file_sha256 = path.stat().st_size, sha256 or _file_sha256(path)
    # The recording is digested while it is reduced: that leaves the interpreter's lock, and the
    # processor to the figures, which take longer.
    with ThreadPoolExecutor(max_workers=2, initializer=give_way) as pool:
        digested = pool.submit(key_of_recording, log.recording)
        done = pool.submit(meanwhile) if meanwhile is not None else None
        reduction = reduce_described(log.recording, bench=bench)
        recording_sha256 = digested.result()
        if done is not None:
            done.result()
    return PreparedRun(
        file_sha256=file_sha256,
        n_bytes=n_bytes,
        log=log,
        recording_sha256=recording_sha256,
        reduction=reduction,
        input_digest=digest_inputs(recording_sha256, bench=bench),
        bench=bench,
    )


def key_of_recording(recording: Recording) -> str:
    """What a recording is kept under."""
    return recording_key(recording_digest(recording), notes=recording.notes)


def recording_key(digest: str, *, notes: Mapping[str, Any]) -> str:
    """The digest of a recording, and the facts of its reading if it has any.

    Those (a last line cut) become findings, so they are part of what figures are made from.
    """
    return content_sha256([digest, dict(notes)]) if notes else digest


def digest_inputs(recording_sha256: str, *, bench: Bench) -> str:
    """The input digest of a run whose plate, rig and details are the bench's."""
    return input_digest(
        recording_sha256,
        kind=bench.run.kind,
        plate=bench.plate,
        rig=bench.rig,
        options=options_for(bench),
    )


def _file_sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()
