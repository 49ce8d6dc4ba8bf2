"""What a rig's description did to the figures, or could not do, in words."""

from server.model.measured import JsonValue

Evidence = dict[str, JsonValue]


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
            f"The {e.get('channel')} was read as {_value(e)}, its farthest value, "
            f"{n} times and at different speeds, and seldom just short of it: readings seem to be "
            "cut off there.",
            "Use a larger range, and look for a limit in the logger's settings.",
        )
    return (
        f"The {e.get('channel')} stayed at its highest value, {_value(e)}, while"
        " other channels moved: the sensor or logger has hit its ceiling.",
        "Use a larger range.",
    )
