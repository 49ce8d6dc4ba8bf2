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
