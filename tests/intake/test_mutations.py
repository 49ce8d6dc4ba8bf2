"""Damaged logs: read, or refused with reasons; never anything else."""

import json
import random
from pathlib import Path

import numpy as np
import pytest

from server.errors import UnusableLog
from server.intake import preview_log, read_log

LOGS = (
    b"# Logger\nZeit;Strom;Drehmoment;Drehzahl\ns;A;N\xc2\xb7m;1/min\n"
    + b"".join(f"{i / 10:.1f};{i % 7},5;0,5{i % 10};20.{i % 10}00\n".encode() for i in range(40)),
    b"t,n,M,note\r\n"
    + b"".join(f'{i},{1000 + i},{i * 0.5},"a, b"\r\n'.encode() for i in range(30)),
    b"Time\tSpeed (rpm)\tForce [g]\n"
    + b"".join(f"2026-01-01 10:00:{i:02d}.5\t{100 + i}\t{i}\n".encode() for i in range(30)),
    b"  t [s]   M [Nm]  n [1/min]\n"
    + b"".join(f"  {i / 10:.2f}   1.5   {2000 + i}\n".encode() for i in range(30)),
    "t;n;M\n".encode("utf-16")
    + b"".join(f"{i};{i * 3};{i}\n".encode("utf-16-le") for i in range(20)),
)
TOKENS = (
    *(t.encode() for t in (*",; .:-#('\t\n\r\"°", "OL", "nan", "1e400", "12:30", "[V]", "9" * 30)),
    b"\x00",
    b"\xff",
    b"\xef\xbb\xbf",
)


def mutated(rng: random.Random) -> bytes:
    log = bytearray(rng.choice(LOGS))
    for _ in range(rng.choice([1, 1, 2, 5])):
        at = rng.randrange(len(log) + 1)
        what = rng.random()
        if what < 0.45:
            log[at:at] = rng.choice(TOKENS)
        elif what < 0.65:
            del log[at : at + rng.choice([1, 3, 20, 200])]
        elif what < 0.8:
            log[at : at + 1] = bytes([rng.randrange(256)])
        elif what < 0.9:
            log = log[:at]
        else:
            other = rng.randrange(len(log) + 1)
            log[at:at] = log[other : other + 40]
    return bytes(log)


@pytest.mark.parametrize("seed", range(8))
def test_a_damaged_log_is_read_or_refused(seed: int, tmp_path: Path) -> None:
    rng = random.Random(seed)
    path = tmp_path / "log.txt"
    n_read = 0
    refusals: list[UnusableLog] = []
    for _ in range(60):
        path.write_bytes(mutated(rng))
        for reader in (read_log, preview_log):
            try:
                got = reader(path, name="log.txt")
            except UnusableLog as refusal:
                refusals.append(refusal)
                continue
            json.dumps(dict(got.dialect))
            n_read += 1
            if reader is read_log:
                recording = got.recording
                assert np.isfinite(recording.time_s).all()
                assert recording.time_s.min() == 0
                columns = [*recording.channels.values(), *recording.extras.values()]
                assert {len(c) for c in columns} == {len(recording.time_s)}
                assert not any(np.isinf(c).any() for c in columns)
                json.dumps(dict(recording.notes))
    assert n_read > 0
    assert refusals
    for refusal in refusals:
        assert refusal.problems
        assert all(p.message and p.remedy for p in refusal.problems)
