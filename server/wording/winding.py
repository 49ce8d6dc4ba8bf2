"""A winding's temperature in the contract's JSON and in words."""

from server.model.measured import JsonValue, Measured
from server.model.winding import WindingReading
from server.wording.figures import (
    NOT_MEASURED,
    ZERO_CELSIUS_K,
    show_quantity,
    value_with_uncertainty,
)
from server.wording.numbers import fixed, with_unit

Json = dict[str, JsonValue]


def winding_to_json(found: WindingReading | None) -> Json | None:
    """Kelvin; a reason in place of a temperature that can't be had."""
    if found is None:
        return None
    temperature, rise = found.temperature_k, found.rise_k
    return {
        "temperature": None if temperature is None else temperature.value,
        "standard_uncertainty": _u(temperature),
        "rise": None if rise is None else rise.value,
        "rise_standard_uncertainty": _u(rise),
        "unit": "K",
        "material": found.material.value,
        "standard": found.standard.value,
        "constant": found.constant,
        "reason": found.reason,
    }


def _u(measured: Measured | None) -> float | None:
    return None if measured is None else measured.standard_uncertainty


def show_winding(found: WindingReading) -> tuple[str, str]:
    """The temperature with its rise, and whose constant it was worked out with."""
    note = (
        f"From its resistance; {found.material.value}, {found.standard.value}: {found.constant:g}."
    )
    if found.temperature_k is None:
        return NOT_MEASURED, f"{found.reason}." if found.reason else note
    celsius = found.temperature_k.value - ZERO_CELSIUS_K
    u = found.temperature_k.standard_uncertainty
    text = with_unit(fixed(celsius, 1), "°C")
    if u is not None:
        text = value_with_uncertainty(celsius, u, "°C")
    if found.rise_k is not None:
        rise = show_quantity(found.rise_k.value, found.rise_k.standard_uncertainty, "K")
        note = f"{rise} above the ambient. {note}"
    return text, note
