"""Channels that stand still, hit their ceiling, or leave their sensor's range."""

import numpy as np

from server.model.bench import Rig
from server.model.measured import Finding
from server.model.words import Channel, FindingCode, Severity
from server.reduction.arrays import Bools, FloatArray
from server.reduction.states import State, stretches
from server.reduction.worked import Worked

LEAST_SAMPLES = 20
FROZEN_SHARE = 0.5  # of the running time
CEILING_S = 0.3
CEILING_SAMPLES = 10
OTHERS_MOVE = 0.05


def channel_findings(worked: Worked, *, rig: Rig) -> list[Finding]:
    """Frozen, clipped and over-range channels, judged while the motor runs."""
    running = np.repeat(worked.states.is_(State.RUNNING), worked.blocks.n_rows)
    if int(np.count_nonzero(running)) < LEAST_SAMPLES:
        return []
    found = []
    used = _used(worked)
    for channel, values in worked.ordered.channels.items():
        inside = values[running]
        inside = inside[np.isfinite(inside)]
        if inside.size < LEAST_SAMPLES:
            continue
        low, high = float(inside.min()), float(inside.max())
        if low == high:
            # A constant column that no figure is made from (a typed-in frequency) is no fault.
            is_fault = channel in used and channel is not Channel.VOLTAGE
            severity = Severity.WARNING if is_fault else Severity.INFO
            evidence = {"channel": channel.value, "value": low, "is_used": channel in used}
            found.append(Finding(FindingCode.CHANNEL_FROZEN, severity, dict(evidence)))
        elif channel in used and not _is_waveform(worked, channel):
            found += _ceiling(worked, channel, values, running, high)
        found += _over_range(worked, channel, rig)
    return found


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
    worked: Worked, channel: Channel, values: FloatArray, running: Bools, high: float
) -> list[Finding]:
    """A stretch at the channel's own maximum while another channel moves."""
    time = worked.ordered.time_s
    other = worked.signals.torque if channel is Channel.SPEED else worked.signals.speed
    span = float(np.nanmax(other[running]) - np.nanmin(other[running]))
    for start, end in stretches((values == high) & running):
        if end - start < CEILING_SAMPLES or time[end - 1] - time[start] < CEILING_S:
            continue
        part = other[start:end]
        quarter = max(1, part.size // 4)
        moved = abs(float(np.nanmean(part[-quarter:]) - np.nanmean(part[:quarter])))
        if span > 0 and moved > OTHERS_MOVE * span:
            evidence = {
                "channel": channel.value,
                "value": high,
                "start_s": float(time[start]),
                "end_s": float(time[end - 1]),
            }
            return [Finding(FindingCode.CHANNEL_CLIPPED, Severity.WARNING, dict(evidence))]
    return []


def _over_range(worked: Worked, channel: Channel, rig: Rig) -> list[Finding]:
    limit = next(
        (i.range for i in rig.instruments if i.channel is channel and i.range is not None), None
    )
    if limit is None or limit <= 0:
        return []
    readings = {
        Channel.SPEED: [p.speed_rad_s for p in worked.points],
        Channel.CURRENT: [p.current_a for p in worked.points],
        Channel.VOLTAGE: [p.voltage_v for p in worked.points],
        Channel.POWER: [p.input_power_w for p in worked.points],
        Channel.TORQUE: list(worked.brake_torque_nm),
        Channel.FORCE: [t / worked.signals.torque_factor for t in worked.brake_torque_nm],
    }.get(channel, [])
    highest = max((abs(v) for v in readings if v is not None), default=0.0)
    if highest <= limit:
        return []
    evidence = {"channel": channel.value, "value": highest, "range": limit}
    return [Finding(FindingCode.SENSOR_OVER_RANGE, Severity.WARNING, dict(evidence))]
