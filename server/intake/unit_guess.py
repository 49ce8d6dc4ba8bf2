"""The unit of a column that names none: what the trade takes it to be, with the reason."""

from __future__ import annotations

import re
from collections.abc import Sequence

from server.model.words import Channel

_DEFAULTS: dict[Channel, str] = {
    Channel.VOLTAGE: "V",
    Channel.CURRENT: "A",
    Channel.POWER: "W",
    Channel.APPARENT_POWER: "VA",
    Channel.FREQUENCY: "Hz",
    Channel.FORCE: "N",
    Channel.TORQUE: "N·m",
    Channel.SPEED: "r/min",
    Channel.BRAKE_SETTING: "1",
}
_EPOCH_S = 1e9  # seconds since 1970 have passed this since 2001
_FOUR_HOURS_S = 4 * 3600.0


def figures(cells: Sequence[str]) -> list[float]:
    """The head's plain figures; a comma counts as the decimal mark."""
    found = []
    for cell in cells:
        text = cell.replace(",", ".")
        if re.fullmatch(r"[+-]?(?:\d+\.?\d*|\.\d+)(?:[eE][+-]?\d+)?", text):
            found.append(float(text))
    return found


def default_unit(channel: Channel, header: str, cells: Sequence[str]) -> tuple[str, str]:
    """(unit, "taken as …, because …") for a channel without a unit."""
    values = figures(cells)
    if channel is Channel.TIME:
        return _time_unit(header, values)
    if channel is Channel.POWER_FACTOR:
        if values and max(abs(v) for v in values) > 1.5:
            return "%", "taken as % since figures exceed 1.5"
        return "1", "taken as a fraction"
    if channel.value.startswith("temperature"):
        if values and min(values) > 200:
            return "K", "taken as K since every figure is over 200"
        return "°C", "taken as °C"
    if channel is Channel.SPEED and re.search(r"(?i)omega|ω|angular", header):
        return "rad/s", "taken as rad/s, the unit of an angular velocity"
    unit = _DEFAULTS[channel]
    return unit, f"taken as {unit}"


def _time_unit(header: str, values: Sequence[float]) -> tuple[str, str]:
    name = header.casefold()
    if re.search(r"micros|µs", name):
        return "µs", "taken as µs from its name"
    if re.search(r"milli", name):
        return "ms", "taken as ms from its name"
    largest = max((abs(v) for v in values), default=0.0)
    for unit, factor in (("µs", 1e6), ("ms", 1e3)):
        if largest > _EPOCH_S * factor:
            return unit, f"taken as {unit}: figures this large are a clock counting from 1970"
    whole = bool(values) and all(v == int(v) for v in values)
    span = max(values) - min(values) if values else 0.0
    if whole and span > _FOUR_HOURS_S and span / 1000 <= _FOUR_HOURS_S:
        return "ms", "taken as ms: whole numbers that would span hours as seconds"
    return "s", "taken as s"
