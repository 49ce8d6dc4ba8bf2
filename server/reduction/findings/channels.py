"""Channels that stand still, hit their ceiling, or leave their sensor's range."""

import numpy as np

from server.model.bench import Rig
from server.model.measured import Finding
from server.model.words import Channel, FindingCode, Severity
from server.reduction.arrays import FloatArray
from server.reduction.states import State, stretches
from server.reduction.worked import Worked

LEAST_SAMPLES = 20
CEILING_S = 0.3
CEILING_SAMPLES = 10
OTHERS_MOVE = 0.05
PLATEAU_SAMPLES = 30
PLATEAU_LEVELS = 3  # below the extreme one: each is read far less often
PILED_UP = 8.0  # times as often; a maximum passed in even steps gives 3
LEAST_STEPS = 100  # between lowest and highest: coarser readings repeat anyhow


def channel_findings(worked: Worked, *, rig: Rig) -> list[Finding]:
    """Frozen, clipped and over-range channels, judged while the motor runs."""
    spans = _running_rows(worked)
    if sum(end - start for start, end in spans) < LEAST_SAMPLES:
        return []
    found = []
    used = _used(worked)
    for channel, values in worked.ordered.channels.items():
        low, high = _ends(values, spans)
        if not np.isfinite(low):
            continue
        if low == high:
            # A constant column that no figure is made from (a typed-in frequency) is no fault.
            is_fault = channel in used and channel is not Channel.VOLTAGE
            severity = Severity.WARNING if is_fault else Severity.INFO
            evidence = {"channel": channel.value, "value": low, "is_used": channel in used}
            found.append(Finding(FindingCode.CHANNEL_FROZEN, severity, dict(evidence)))
        elif channel in used and not _is_waveform(worked, channel):
            clipped = _ceiling(worked, channel, values, spans, high)
            if not clipped and channel is worked.signals.torque_channel:
                clipped = _plateau(worked, channel, values, spans, (low, high))
            found += clipped
        found += _over_range(worked, channel, rig)
    return found


def _running_rows(worked: Worked) -> list[tuple[int, int]]:
    """First and end row (in the ordered recording) of each stretch of running."""
    blocks, time = worked.blocks, worked.ordered.time_s
    found = stretches(worked.states.is_(State.RUNNING))
    first = np.searchsorted(time, [blocks.start_s[a] for a, _ in found], side="left")
    end = np.searchsorted(time, [blocks.end_s[b - 1] for _, b in found], side="right")
    return [(a, b) for a, b in zip(first.tolist(), end.tolist(), strict=True) if b > a]


def _used(worked: Worked) -> set[Channel]:
    signals = worked.signals
    used = {Channel.SPEED, signals.torque_channel}
    for channel, values in (
        (Channel.POWER, signals.power),
        (Channel.CURRENT, signals.current),
        (Channel.VOLTAGE, signals.voltage),
    ):
        if values is not None:
            used.add(channel)
    return used


def _is_waveform(worked: Worked, channel: Channel) -> bool:
    signals = worked.signals
    return (channel is Channel.VOLTAGE and signals.is_voltage_waveform) or (
        channel is Channel.CURRENT and signals.is_current_waveform
    )


def _ceiling(
    worked: Worked,
    channel: Channel,
    values: FloatArray,
    spans: list[tuple[int, int]],
    high: float,
) -> list[Finding]:
    """A stretch at the channel's own maximum while another channel moves."""
    time = worked.ordered.time_s
    source = worked.signals.torque_channel if channel is Channel.SPEED else Channel.SPEED
    other = worked.ordered.channels[source]
    reach: float | None = None
    for a, b in spans:
        at_top = values[a:b] == high
        if int(np.count_nonzero(at_top)) < CEILING_SAMPLES:
            continue
        for start, end in ((a + f, a + e) for f, e in stretches(at_top)):
            if end - start < CEILING_SAMPLES or time[end - 1] - time[start] < CEILING_S:
                continue
            part = np.asarray(other[start:end], dtype=np.float64)
            part = part[np.isfinite(part)]
            if part.size < CEILING_SAMPLES:
                continue
            quarter = max(1, part.size // 4)
            moved = abs(float(np.mean(part[-quarter:])) - float(np.mean(part[:quarter])))
            if reach is None:
                low_other, high_other = _ends(other, spans)
                reach = high_other - low_other
            if moved > OTHERS_MOVE * reach:
                evidence = {
                    "channel": channel.value,
                    "value": high,
                    "start_s": float(time[start]),
                    "end_s": float(time[end - 1]),
                }
                return [Finding(FindingCode.CHANNEL_CLIPPED, Severity.WARNING, dict(evidence))]
    return []


def _ends(values: FloatArray, spans: list[tuple[int, int]]) -> tuple[float, float]:
    """The lowest and the highest reading of the rows."""
    low = min(float(np.fmin.reduce(values[a:b])) for a, b in spans)
    return low, max(float(np.fmax.reduce(values[a:b])) for a, b in spans)


def _plateau(
    worked: Worked,
    channel: Channel,
    values: FloatArray,
    spans: list[tuple[int, int]],
    ends: tuple[float, float],
) -> list[Finding]:
    """The same extreme torque read again and again, at different speeds, between other readings.

    Readings that scatter about a sensor's limit pile up at it: it comes many times as often as the
    values just below, which no scatter and no rounding does.
    """
    extreme = max(ends, key=abs)
    sign = 1.0 if extreme > 0 else -1.0
    counts, below = [], extreme
    levels = [extreme]
    for _ in range(1 + PLATEAU_LEVELS):
        counts.append(sum(int(np.count_nonzero(values[a:b] == below)) for a, b in spans))
        if counts[0] < PLATEAU_SAMPLES:
            return []
        within = [sign * values[a:b] for a, b in spans]
        rest = [float(np.max(v, where=v < sign * below, initial=-np.inf)) for v in within]
        if not np.isfinite(max(rest)):
            return []
        below = np.float32(sign * max(rest)).item()
        levels.append(below)
    step = abs(extreme - levels[1])
    if counts[0] < PILED_UP * max(counts[1:]) or ends[1] - ends[0] < LEAST_STEPS * step:
        return []
    speed, time = worked.ordered.channels[Channel.SPEED], worked.ordered.time_s
    rows = np.concatenate([a + np.flatnonzero(values[a:b] == extreme) for a, b in spans])
    there = np.asarray(speed[rows], dtype=np.float64)
    there = np.abs(there[np.isfinite(there)])
    top = max(float(np.fmax.reduce(np.abs(speed[a:b]))) for a, b in spans)
    if there.size < PLATEAU_SAMPLES:
        return []
    slow, fast = np.percentile(there, [10, 90])
    if fast - slow <= OTHERS_MOVE * top:
        return []
    evidence = {
        "channel": channel.value,
        "value": extreme,
        "start_s": float(time[rows[0]]),
        "end_s": float(time[rows[-1]]),
        "n_readings": int(rows.size),
    }
    return [Finding(FindingCode.CHANNEL_CLIPPED, Severity.WARNING, dict(evidence))]


def _over_range(worked: Worked, channel: Channel, rig: Rig) -> list[Finding]:
    limit = next(
        (i.range for i in rig.instruments if i.channel is channel and i.range is not None), None
    )
    if limit is None or limit <= 0:
        return []
    readings_of: dict[Channel, list[float | None]] = {
        Channel.SPEED: [p.speed_rad_s for p in worked.points],
        Channel.CURRENT: [p.current_a for p in worked.points],
        Channel.VOLTAGE: [p.voltage_v for p in worked.points],
        Channel.POWER: [p.input_power_w for p in worked.points],
        Channel.TORQUE: list(worked.brake_torque_nm),
        Channel.FORCE: [t / worked.signals.torque_factor for t in worked.brake_torque_nm],
    }
    readings = readings_of.get(channel, [])
    highest = max((abs(v) for v in readings if v is not None), default=0.0)
    if highest <= limit:
        return []
    evidence = {"channel": channel.value, "value": highest, "range": limit}
    return [Finding(FindingCode.SENSOR_OVER_RANGE, Severity.WARNING, dict(evidence))]
