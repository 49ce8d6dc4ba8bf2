"""The newest readings, the highest so far, and a thinned trace, from lines as they come."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from server.intake import Following
from server.model.bench import Bench
from server.model.live import DRAWN, MAX_TRACE_POINTS, LiveQuantity, LiveReadings
from server.model.recording import Recording
from server.reduction.running import Running, lacks_arm, read_running

if TYPE_CHECKING:
    from server.model.words import Channel
    from server.reduction.arrays import FloatArray, Floats

NOW_S = 0.5
WINDOW_S = 1.0
WINDOW_ROWS = 20

_COLUMNS: dict[LiveQuantity, str] = {
    LiveQuantity.SHAFT_POWER: "shaft_power_w",
    LiveQuantity.TORQUE: "torque_nm",
    LiveQuantity.SPEED: "speed_rad_s",
    LiveQuantity.INPUT_POWER: "input_power_w",
    LiveQuantity.CURRENT: "current_a",
    LiveQuantity.VOLTAGE: "voltage_v",
}
NO_ARM = "Force is logged, but the bench file gives no arm: no torque, no power."


@dataclass(slots=True)
class _Bucket:
    """A stretch of the trace: the row with the highest power in it stands for it."""

    at_s: float
    row: dict[LiveQuantity, float]


@dataclass(slots=True)
class Gauge:
    """`note`: why there are no figures, or none of some kind."""

    bench: Bench
    reader: Following
    note: str | None = None
    _window: Recording | None = None
    _seen_s: float = float("-inf")
    _at_s: float = 0.0
    _now: dict[LiveQuantity, float] = field(default_factory=dict)
    _highest: dict[LiveQuantity, float] = field(default_factory=dict)
    _buckets: list[_Bucket] = field(default_factory=list)

    def take(self, lines: Sequence[bytes]) -> None:
        """Read some new lines; nothing in them stops the recording."""
        read = self.reader.take(lines)
        self.note = self.reader.problems[0] if self.reader.problems else None
        if read is None:
            return
        if lacks_arm(read, rig=self.bench.rig):
            self.note = NO_ARM
        self._window = read if self._window is None else _joined(self._window, read)
        running = read_running(self._window, plate=self.bench.plate, rig=self.bench.rig)
        if running is not None:
            self._note(running)
        self._window = _newest(self._window)

    def readings(self) -> LiveReadings:
        return LiveReadings(
            at_s=self._at_s,
            n_lines=self.reader.n_lines,
            n_unreadable=len(self.reader.unreadable),
            now=dict(self._now),
            highest=dict(self._highest),
            trace_s=tuple(round(b.at_s, 2) for b in self._buckets),
            trace={
                q: tuple(b.row.get(q) for b in self._buckets) for q in DRAWN if q in self._highest
            },
        )

    def _note(self, running: Running) -> None:
        time = running.time_s
        self._at_s = max(self._at_s, float(time[-1]))
        is_fresh = time > self._seen_s
        # The last block of a fast logger is not whole yet: few samples of it would look extreme.
        if running.is_averaged:
            is_fresh[-1] = False
        is_now = time >= time[-1] - NOW_S
        rows: list[dict[LiveQuantity, float]] = [{} for _ in range(int(is_fresh.sum()))]
        for quantity, name in _COLUMNS.items():
            values = getattr(running, name)
            if values is None:
                continue
            newest = _finite(values[is_now])
            if newest.size:
                self._now[quantity] = float(np.mean(newest))
            fresh = values[is_fresh]
            if _finite(fresh).size:
                highest = float(np.max(_finite(fresh)))
                self._highest[quantity] = max(highest, self._highest.get(quantity, highest))
            for row, value in zip(rows, fresh, strict=True):
                if np.isfinite(value):
                    row[quantity] = float(f"{value:.5g}")
        if rows:
            self._seen_s = float(time[is_fresh][-1])
        self._draw(time[is_fresh], rows)

    def _draw(self, time: "Floats", rows: list[dict[LiveQuantity, float]]) -> None:
        self._buckets += [_Bucket(float(t), row) for t, row in zip(time, rows, strict=True)]
        while len(self._buckets) > MAX_TRACE_POINTS:
            pairs = zip(self._buckets[::2], self._buckets[1::2], strict=False)
            odd = self._buckets[-1:] if len(self._buckets) % 2 else []
            self._buckets = [max(pair, key=_power) for pair in pairs] + odd


def _power(bucket: _Bucket) -> float:
    return bucket.row.get(LiveQuantity.SHAFT_POWER, float("-inf"))


def _finite(values: "Floats") -> "Floats":
    return values[np.isfinite(values)]


def _joined(before: Recording, after: Recording) -> Recording:
    def column(recording: Recording, channel: "Channel") -> "FloatArray":
        found = recording.channels.get(channel)
        return np.full(len(recording.time_s), np.nan) if found is None else found

    names = {*before.channels, *after.channels}
    channels = {c: np.concatenate([column(before, c), column(after, c)]) for c in names}
    return Recording(np.concatenate([before.time_s, after.time_s]), channels)


def _newest(recording: Recording) -> Recording:
    """The last second, or the last rows of a slow logger."""
    time = recording.time_s
    start = min(int(np.searchsorted(time, time[-1] - WINDOW_S)), max(len(time) - WINDOW_ROWS, 0))
    return Recording(time[start:], {c: v[start:] for c, v in recording.channels.items()})
