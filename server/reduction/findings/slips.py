"""Factors by which a wrong unit spoils a channel."""

from dataclasses import dataclass

from server.model.measured import JsonValue

SOUND_LOW, SOUND_HIGH = 0.3, 1.6  # what a sound motor gains at the shaft per watt at the input


@dataclass(frozen=True, slots=True)
class Slip:
    """A slip: values `factor` times too large where `one` was written and `other` was meant."""

    factor: float
    what: str
    channels: tuple[str, ...]


MECHANICAL = (
    Slip(2.0, "speed pulses per revolution", ("speed",)),
    Slip(8.850746, "lbf·in and N·m", ("torque", "force")),
    Slip(9.80665, "kgf and N", ("force", "torque")),
    Slip(9.549297, "r/min and rad/s", ("speed",)),
    Slip(12.0, "lbf·in and lbf·ft", ("torque",)),
    Slip(16.0, "ozf·in and lbf·in", ("torque",)),
    Slip(60.0, "r/min and revolutions per second", ("speed",)),
    Slip(141.612, "ozf·in and N·m", ("torque",)),
    Slip(1000.0, "m and milli (mN·m, mN, g)", ("torque", "force")),
)
ELECTRICAL = (
    Slip(1000.0, "kW and W, mA and A, mV and V", ("power", "current", "voltage")),
    Slip(745.7, "hp and W", ("power",)),
    Slip(10.0, "current clamp or divider ratio", ("current", "voltage")),
    Slip(100.0, "current clamp or divider ratio, per cent", ("current", "voltage", "power")),
)


def candidates(ratio: float, slips: tuple[Slip, ...]) -> list[JsonValue]:
    """Slips that would bring the ratio (or its inverse) back to what a sound motor shows."""
    large = ratio if ratio > 1 else 1 / max(ratio, 1e-12)
    low, high = (SOUND_LOW, SOUND_HIGH) if ratio > 1 else (1 / SOUND_HIGH, 1 / SOUND_LOW)
    found: list[JsonValue] = []
    for slip in slips:
        if low <= large / slip.factor <= high:
            found.append(
                {"factor": slip.factor, "units": slip.what, "channels": list(slip.channels)}
            )
    return found
