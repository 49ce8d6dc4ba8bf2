"""A test while it goes on: readings as they come, unreviewed."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime
from enum import StrEnum


class LiveQuantity(StrEnum):
    """What is shown while a test goes on, in the order shown."""

    SHAFT_POWER = "shaft_power"
    TORQUE = "torque"
    SPEED = "speed"
    INPUT_POWER = "input_power"
    CURRENT = "current"
    VOLTAGE = "voltage"


LIVE_UNITS: dict[LiveQuantity, str] = {
    LiveQuantity.SHAFT_POWER: "W",
    LiveQuantity.TORQUE: "N m",
    LiveQuantity.SPEED: "rad/s",
    LiveQuantity.INPUT_POWER: "W",
    LiveQuantity.CURRENT: "A",
    LiveQuantity.VOLTAGE: "V",
}
# What has a trace of its own.
DRAWN: tuple[LiveQuantity, ...] = (
    LiveQuantity.SHAFT_POWER,
    LiveQuantity.TORQUE,
    LiveQuantity.SPEED,
)
MAX_TRACE_POINTS = 240


@dataclass(frozen=True, slots=True)
class LiveReadings:
    """SI. `at_s`: seconds since the first row. `trace` has a value, or None, for each `trace_s`."""

    at_s: float = 0.0
    n_lines: int = 0
    n_unreadable: int = 0
    now: Mapping[LiveQuantity, float] = field(default_factory=dict)
    highest: Mapping[LiveQuantity, float] = field(default_factory=dict)
    trace_s: tuple[float, ...] = ()
    trace: Mapping[LiveQuantity, tuple[float | None, ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class LiveView:
    """A test as its watchers see it. `run_id`: what it became, once that is published."""

    address: str
    title: str | None
    tester: str
    readings: LiveReadings
    n_updates: int
    started_at: datetime
    updated_at: datetime
    ended_at: datetime | None
    expires_at: datetime
    run_id: str | None
