"""A log read line by line gives what the whole file gives."""

import codecs
import random
from pathlib import Path

import numpy as np
import pytest

from seed_data.scenario import make
from seed_data.story import STORY
from server.intake import Following, Lines, read_bench, read_log
from server.model.words import Channel
from tests.api.logs import small_log


def followed(content: bytes, reader: Following, *, seed: int) -> tuple[np.ndarray, dict]:
    """The whole in pieces of some bytes; times and channels put together."""
    rng = random.Random(seed)
    times, channels = [], {}
    split, at = Lines(), 0
    while at < len(content):
        n = rng.choice((1, 30, 300, 3000))
        lines = split.feed(content[at : at + n])
        at += n
        if at >= len(content):
            lines += split.last()
        got = reader.take(lines) if lines else None
        if got is not None:
            times.append(got.time_s)
            for channel, values in got.channels.items():
                channels.setdefault(channel, []).append(values)
    return np.concatenate(times), {c: np.concatenate(v) for c, v in channels.items()}


@pytest.mark.parametrize("order", range(1, len(STORY) + 1))
def test_each_dialect_of_the_scenario_reads_alike(order: int, tmp_path: Path) -> None:
    run, log, bench_text = make(order, STORY[order - 1])
    bench = read_bench(bench_text.encode(), name=run.bench)
    wide = log.startswith(codecs.BOM_UTF16_LE)
    path = tmp_path / run.log
    end = log.find("\n".encode("utf-16-le" if wide else "ascii"), 60_000)
    path.write_bytes(log[: end + (2 if wide else 1)] if end > 0 else log)
    try:
        whole = read_log(
            path,
            name=run.log,
            choices=bench.columns,
            pulses_per_revolution=bench.rig.pulses_per_revolution,
            kind=bench.run.kind,
        ).recording
    except Exception as refusal:
        pytest.skip(str(refusal))
    reader = Following(bench.columns, bench.rig.pulses_per_revolution)
    times, channels = followed(path.read_bytes(), reader, seed=order)
    assert reader.unreadable == set()
    assert len(times) == len(whole.time_s)
    np.testing.assert_allclose(times - times.min(), whole.time_s, atol=2e-6)
    for channel in (Channel.SPEED, Channel.TORQUE, Channel.FORCE, Channel.POWER):
        if channel in whole.channels:
            np.testing.assert_array_equal(channels[channel], whole.channels[channel])


def test_lines_that_can_not_be_read_are_named_and_the_others_read() -> None:
    lines = small_log().encode().splitlines(keepends=True)
    n_good = len(lines) - 1
    lines.insert(20, b"garbled \x07 line\n")
    lines.insert(100, b"1.0,2.0\n")
    lines.insert(150, b"\n")
    lines.insert(101, b"7.0,x,0.1,2,120,150\n")
    reader = Following()
    times, channels = followed(b"".join(lines), reader, seed=3)
    assert reader.unreadable == {21, 101, 102}
    assert len(times) == n_good
    assert channels[Channel.TORQUE].max() == pytest.approx(0.7, abs=0.01)


def test_what_is_not_understood_is_said() -> None:
    reader = Following()
    assert reader.take([b"hello\n", b"there\n", b"and again\n"]) is None
    assert "no readings" in reader.problems[0]


def test_a_channel_that_is_blank_for_a_while_is_no_fault() -> None:
    reader = Following()
    head = [b"time [s],speed [rpm],torque [Nm]\n"]
    assert reader.take([*head, b"0,100,1\n", b"1,110,1\n", b"2,120,1\n"]) is not None
    for i in range(3, 90):
        got = reader.take([b"%d,,1\n" % i])
        assert got is not None
        assert not np.isfinite(got.channels[Channel.SPEED]).any()
        assert got.time_s.tolist() == [float(i)]
    assert reader.unreadable == set()
