"""A recording's digest, and its way through Parquet."""

from pathlib import Path

import numpy as np

from server.intake import load_recording, recording_digest, write_recording
from server.model.recording import Recording
from server.model.words import Channel


def _recording(**more: object) -> Recording:
    rng = np.random.default_rng(3)
    speed = rng.normal(2000, 3, 500).astype(np.float32)
    speed[7] = np.nan
    content = {
        "time_s": np.arange(500) * 0.001,
        "channels": {Channel.SPEED: speed, Channel.TORQUE: speed * np.float32(1e-4)},
        "extras": {"p2 (column 5)": speed, "channel torque": speed},
        "notes": {"last_line_cut": {"row": 502, "text": "1,2"}, "words": {"ä": [[0, "µ"]]}},
    }
    return Recording(**{**content, **more})  # type: ignore[arg-type]


def test_parquet_is_lossless(tmp_path: Path) -> None:
    recording = _recording()
    write_recording(recording, tmp_path / "r.parquet")
    back = load_recording(tmp_path / "r.parquet")
    assert recording_digest(back) == recording_digest(recording)
    np.testing.assert_array_equal(back.time_s, recording.time_s)
    assert back.time_s.dtype == np.float64
    for channel, values in recording.channels.items():
        np.testing.assert_array_equal(back.channels[channel], values)
        assert back.channels[channel].dtype == np.float32
    assert list(back.extras) == list(recording.extras)
    assert back.notes == recording.notes


def test_digest_does_not_depend_on_order_or_kind_of_blank() -> None:
    recording = _recording()
    turned = _recording(channels=dict(reversed(recording.channels.items())))
    assert recording_digest(turned) == recording_digest(recording)
    other = recording.channels[Channel.SPEED].copy()
    other.view(np.uint32)[7] = 0xFFC00001  # another NaN
    swapped = _recording(channels={**recording.channels, Channel.SPEED: other})
    assert recording_digest(swapped) == recording_digest(recording)


def test_digest_changes_with_every_figure_and_name() -> None:
    plain = _recording()
    bent = plain.channels[Channel.SPEED].copy()
    bent[0] += np.float32(0.01)
    others = [
        _recording(channels={**plain.channels, Channel.SPEED: bent}),
        _recording(time_s=plain.time_s + 1e-6),
        _recording(extras={}),
        _recording(channels={Channel.FORCE: bent, Channel.TORQUE: bent}),
    ]
    digests = {recording_digest(r) for r in [plain, *others]}
    assert len(digests) == 5
    assert all(len(d) == 64 for d in digests)
