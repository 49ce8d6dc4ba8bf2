"""What a rig's description did to the figures, or could not do, in words."""

from datetime import date

from server.model.measured import JsonValue
from server.model.words import Channel
from server.wording.counts import show_date
from server.wording.labels import channel_word

Evidence = dict[str, JsonValue]


def channel_of(evidence: Evidence) -> str:
    """The channel that a finding is about, as people call it."""
    value = evidence.get("channel")
    return channel_word(Channel(value)) if isinstance(value, str) else "channel"


def ambient_unknown(evidence: Evidence) -> tuple[str, str]:
    """Instruments that state a temperature coefficient, in a run that gives no ambient."""
    found = evidence.get("channels")
    channels = [str(c).replace("_", " ") for c in found] if isinstance(found, list) else []
    return (
        f"The instruments for {', '.join(channels) or 'some channels'} state a temperature"
        " coefficient, but the run gives no ambient temperature: what their warmth does is not in"
        " the uncertainty.",
        "State the ambient temperature of the run.",
    )


def leads(evidence: Evidence) -> tuple[str, str]:
    """The heat of the leads was taken off the input power, or could not be."""
    ohm = evidence.get("lead_resistance_ohm")
    size = f"{ohm:.3g} Ω" if isinstance(ohm, int | float) else "a resistance"
    if not evidence.get("is_applied"):
        return (
            f"The leads have {size}, but no current was logged: input power is that at the meter.",
            "Log the current.",
        )
    return (
        f"Input power is that at the motor: what the leads ({size}) turn into heat is taken off,"
        " and on direct current their voltage too.",
        "Nothing to do.",
    )


def _value(evidence: Evidence) -> str:
    value = evidence.get("value")
    if isinstance(value, int | float) and not isinstance(value, bool):
        return format(value, ".4g").replace("-", "−")
    return "an unknown value"


def clipped(e: Evidence) -> tuple[str, str]:
    """A channel at its ceiling: held there for a while, or read so again and again."""
    n = e.get("n_readings")
    if isinstance(n, int):
        return (
            f"The {channel_of(e)} was read as {_value(e)}, its farthest value, "
            f"{n} times and at different speeds, and seldom just short of it: readings seem to be "
            "cut off there.",
            "Use a larger range, and look for a limit in the logger's settings.",
        )
    return (
        f"The {channel_of(e)} stayed at its highest value, {_value(e)}, while"
        " other channels moved: the sensor or logger has hit its ceiling.",
        "Use a larger range.",
    )


def calibration(e: Evidence) -> tuple[str, str]:
    """Instruments whose last calibration was long before the test."""
    found = e.get("instruments")
    names = [
        f"{channel_of(item)} ({_calibrated(item)})"
        for item in (found if isinstance(found, list) else [])
        if isinstance(item, dict)
    ]
    return (
        f"Calibrated more than a year before the test: {', '.join(names)}.",
        "Calibrate, or say why the old calibration still holds.",
    )


def _calibrated(instrument: Evidence) -> str:
    day = instrument.get("calibrated")
    return f"calibrated {show_date(date.fromisoformat(day) if isinstance(day, str) else None)}"
