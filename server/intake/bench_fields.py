"""The keys of a bench file: what each is called, which field it fills, how its value is read."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date
from enum import StrEnum
from typing import Any

from server.errors import UnitError
from server.model.words import (
    AbsorberType,
    Channel,
    MotorFamily,
    RunKind,
    Source,
    Supply,
    WindingMaterial,
    WindingStandard,
)
from server.units import channel_kind, convert, find_unit, split_quantity, to_si

Reader = Callable[[Any], Any]

# What a claim may be about; the word is its kind of unit too.
CLAIM_QUANTITIES = (
    "power",
    "apparent_power",
    "current",
    "voltage",
    "frequency",
    "speed",
    "torque",
    "efficiency",
    "power_factor",
    "air_power",
    "airflow",
    "suction",
    "energy",
)


@dataclass(frozen=True, slots=True)
class FieldSpec:
    """`field` is the dataclass field, `kind` the kind of unit where the value is a quantity."""

    field: str
    read: Reader
    kind: str | None = None


def quantity(kind: str) -> Reader:
    """A string with its unit. A bare number only where the quantity has no unit."""

    def read(value: Any) -> float:
        if isinstance(value, bool):
            raise UnitError("needs a quantity, not true or false.")
        if isinstance(value, int | float):
            if kind in {"pulses", "digits", "power_factor", "fraction", "one"}:
                return float(value)
            raise UnitError(f"is a bare number; write it as a string with its unit, “{value} …”.")
        if not isinstance(value, str):
            raise UnitError("needs a string with a number and its unit.")
        got = to_si(value, kind)
        if kind == "fraction" and got >= 0.2 and value.strip()[-1:].isdigit():
            shown = f"{100 * got:g} %"
            raise UnitError(f"“{value}” would be {shown}; write “{shown}” or “{value.strip()} %”.")
        return got

    return read


def positive(reader: Reader) -> Reader:
    def read(value: Any) -> float:
        got = float(reader(value))
        if not got > 0:
            raise UnitError(f"“{value}” must be more than zero.")
        return got

    return read


def not_negative(reader: Reader) -> Reader:
    def read(value: Any) -> float:
        got = float(reader(value))
        if not got >= 0:
            raise UnitError(f"“{value}” must not be negative.")
        return got

    return read


def _below_square(reader: Reader) -> Reader:
    def read(value: Any) -> float:
        got = float(reader(value))
        if not abs(got) < math.pi / 2:
            raise UnitError(f"“{value}” leaves no arm; state the departure from square, under 90°.")
        return got

    return read


def text(value: Any) -> str | None:
    if not isinstance(value, str):
        raise UnitError("needs text in quotation marks.")
    return value.strip() or None


def truth(value: Any) -> bool:
    words = {"yes": True, "true": True, "on": True, "no": False, "false": False, "off": False}
    if isinstance(value, bool):
        return value
    if isinstance(value, str) and value.strip().casefold() in words:
        return words[value.strip().casefold()]
    raise UnitError("needs true or false.")


def day(value: Any) -> date:
    """A TOML date or an ISO string."""
    if isinstance(value, date):
        return date(value.year, value.month, value.day)
    if isinstance(value, str):
        try:
            return date.fromisoformat(value.strip()[:10])
        except ValueError as error:
            raise UnitError(f"“{value}” is no date; write it like 2026-03-14.") from error
    raise UnitError("needs a date like 2026-03-14.")


def _plain(word: str) -> str:
    return word.strip().casefold().replace("_", " ").replace("-", " ")


def one_of(words: type[StrEnum], *, also: dict[str, StrEnum] | None = None) -> Reader:
    """An enum's value, however its words are joined and whatever its capitals."""
    by_word = {_plain(word.value): word for word in words} | (also or {})

    def read(value: Any) -> StrEnum:
        found = by_word.get(_plain(value)) if isinstance(value, str) else None
        if found is None:
            raise UnitError(f"“{value}” is none of {', '.join(w.value for w in words)}.")
        return found

    return read


def _word(*words: str) -> Reader:
    def read(value: Any) -> str:
        if isinstance(value, str) and _plain(value) in words:
            return _plain(value)
        raise UnitError(f"“{value}” is none of {', '.join(words)}.")

    return read


def _coverage_factor(value: Any) -> float:
    got = float(split_quantity(value)[0]) if isinstance(value, str) else float(value)
    if not got > 0:
        raise UnitError("must be more than zero.")
    return got


def _hours(value: Any) -> float:
    """Running hours: a bare number is hours, since the key says so."""
    if isinstance(value, int | float) and not isinstance(value, bool):
        return float(value)
    if isinstance(value, str):
        number, unit = split_quantity(value)
        if not unit or find_unit(unit, "duration") == "h":
            return number
    return float(quantity("duration")(value)) / convert(1.0, "h", "duration")


def _spec(field: str, kind: str, guard: Callable[[Reader], Reader] = positive) -> FieldSpec:
    return FieldSpec(field, guard(quantity(kind)), kind)


_FAMILIES: dict[str, StrEnum] = {
    "universal": MotorFamily.SERIES,
    "pm": MotorFamily.PERMANENT_MAGNET,
    "brushless": MotorFamily.PERMANENT_MAGNET,
}
_ABSORBERS: dict[str, StrEnum] = {
    "friction": AbsorberType.FRICTION,
    "eddy current": AbsorberType.EDDY_CURRENT,
    "hysteresis": AbsorberType.HYSTERESIS,
}

_MATERIALS: dict[str, StrEnum] = {"aluminum": WindingMaterial.ALUMINIUM}
_STANDARDS: dict[str, StrEnum] = {
    "iec 60034": WindingStandard.IEC_60034,
    "iec 60335": WindingStandard.IEC_60335,
    "ieee": WindingStandard.IEEE_118,
}

PLATE: dict[str, FieldSpec] = {
    "voltage": _spec("voltage_v", "voltage"),
    "supply": FieldSpec("supply", one_of(Supply)),
    "frequency": _spec("frequency_hz", "frequency"),
    "current": _spec("current_a", "current"),
    "power": _spec("power_w", "power"),
    "speed": _spec("speed_rad_s", "speed"),
    "duty": FieldSpec("duty", text),
    "motor_family": FieldSpec("motor_family", one_of(MotorFamily, also=_FAMILIES)),
    "circuit": _spec("circuit_a", "current"),
}
RIG: dict[str, FieldSpec] = {
    "name": FieldSpec("name", text),
    "absorber": FieldSpec("absorber", one_of(AbsorberType, also=_ABSORBERS)),
    "arm": _spec("arm_m", "length"),
    "inertia": _spec("inertia_kg_m2", "inertia", not_negative),
    "rotor_inertia": _spec("rotor_inertia_kg_m2", "inertia", not_negative),
    "drag_before_sensor": FieldSpec("drag_before_sensor", text),
    "pulses_per_revolution": _spec("pulses_per_revolution", "pulses"),
    "averaging": _spec("averaging_s", "time"),
    "meter_bandwidth": _spec("meter_bandwidth_hz", "frequency"),
    "meter_true_rms": FieldSpec("meter_true_rms", truth),
    "meter_real_power": FieldSpec("meter_real_power", truth),
    "arm_uncertainty": _spec("arm_uncertainty_rel", "fraction", not_negative),
    "inertia_uncertainty": _spec("inertia_uncertainty_rel", "fraction", not_negative),
    "drag_uncertainty": _spec("drag_uncertainty_rel", "fraction", not_negative),
    "arm_angle": _spec("arm_angle_rad", "angle", _below_square),
    "arm_angle_uncertainty": _spec("arm_angle_uncertainty_rad", "angle", not_negative),
    "pivot_friction": _spec("pivot_friction_nm", "torque", not_negative),
    "lead_resistance": _spec("lead_resistance_ohm", "resistance", not_negative),
    "lead_resistance_uncertainty": _spec(
        "lead_resistance_uncertainty_rel", "fraction", not_negative
    ),
}
CLAIM: dict[str, FieldSpec] = {
    "wording": FieldSpec("wording", text),
    "where_printed": FieldSpec("where_printed", text),
    "footnote": FieldSpec("footnote", text),
    "seen_on": FieldSpec("seen_on", day),
}
APPLIANCE: dict[str, FieldSpec] = {
    key: FieldSpec(key, text)
    for key in ("maker", "model", "category", "model_number", "market", "produced")
}
SPECIMEN: dict[str, FieldSpec] = {
    "label": FieldSpec("label", text),
    "condition": FieldSpec("condition", text),
    "hours": FieldSpec("hours", not_negative(_hours), "hours"),
    "brushes_run_in": FieldSpec("brushes_run_in", truth),
    "obtained": FieldSpec("obtained", text),
}
RUN: dict[str, FieldSpec] = {
    "kind": FieldSpec("kind", one_of(RunKind, also={"hand readings": RunKind.BRAKE})),
    "source": FieldSpec("source", one_of(Source, also={"hand": Source.BY_HAND})),
    "tested_on": FieldSpec("tested_on", day),
    "ambient": FieldSpec("ambient_k", quantity("temperature"), "temperature"),
    "supply_note": FieldSpec("supply_note", text),
    "notes": FieldSpec("notes", text),
    # Kept as typed: it says how the file is read and changes no figure by itself.
    "sheet": FieldSpec("sheet", text, "name"),
    "added_inertia": _spec("added_inertia_kg_m2", "inertia"),
    "cold_resistance": _spec("cold_resistance_ohm", "resistance"),
    "hot_resistance": _spec("hot_resistance_ohm", "resistance"),
    "resistance_uncertainty": _spec("resistance_uncertainty_rel", "fraction", not_negative),
    "cold_temperature": _spec("cold_temperature_k", "temperature"),
    "cold_temperature_uncertainty": _spec(
        "cold_temperature_uncertainty_k", "temperature_difference", not_negative
    ),
    "reference_temperature": _spec("reference_temperature_k", "temperature"),
    "winding_material": FieldSpec("winding_material", one_of(WindingMaterial, also=_MATERIALS)),
    "winding_standard": FieldSpec("winding_standard", one_of(WindingStandard, also=_STANDARDS)),
}


RUN_KEYS = tuple(RUN)


def instrument_fields(channel: Channel) -> dict[str, FieldSpec]:
    """An instrument's range and resolution are in the unit of what it measures."""
    kind = channel_kind(channel)
    # A thermometer's range and resolution are differences: 0.1 °C is 0.1 K, not 273.25 K.
    span = "temperature_difference" if kind == "temperature" else kind
    return {
        "name": FieldSpec("name", text),
        "of_reading": _spec("of_reading", "fraction", not_negative),
        "range": _spec("range", span),
        "of_range": _spec("of_range", "fraction", not_negative),
        "digits": _spec("digits", "digits", not_negative),
        "resolution": _spec("resolution", span, not_negative),
        "calibrated": FieldSpec("calibrated", day),
        "distribution": FieldSpec("distribution", _word("normal", "rectangular", "triangular")),
        "coverage_factor": FieldSpec("coverage_factor", _coverage_factor),
        "temperature_coefficient": _spec(
            "temperature_coefficient_per_k", "temperature_coefficient", not_negative
        ),
        "reference_temperature": _spec("reference_temperature_k", "temperature"),
    }
