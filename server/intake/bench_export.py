"""A `Bench` back to the bench file's shape, for export and for the forms of the pages."""

from __future__ import annotations

from collections.abc import Mapping
from datetime import date
from enum import StrEnum
from typing import Any

from server.intake import bench_fields as keys
from server.intake.bench_fields import FieldSpec
from server.model.bench import Bench, Claim, ColumnChoice, Instrument, Rig
from server.units import known_units


def export(bench: Bench) -> dict[str, Any]:
    """Only what is known is written. What was typed stands as typed, else SI with its unit."""
    data: dict[str, Any] = {
        "plate": _part(bench.plate, keys.PLATE, bench.plate.typed),
        "rig": _rig(bench.rig),
        "instrument": [_instrument(i) for i in bench.rig.instruments],
        "claim": [_claim(c) for c in bench.claims],
        "columns": _columns(bench.columns),
        "appliance": _part(bench.appliance, keys.APPLIANCE, {}) if bench.appliance else {},
        "specimen": _part(bench.specimen, keys.SPECIMEN, {}),
        "run": _part(bench.run, keys.RUN, bench.run.typed),
    }
    return {section: part for section, part in data.items() if part}


def _shown(value: Any, kind: str | None) -> Any:
    if isinstance(value, StrEnum):
        return value.value
    if isinstance(value, date):
        return value.isoformat()
    if kind is None or not isinstance(value, int | float):
        return value
    if kind == "fraction":
        return f"{float(value)!r} ratio"  # bare, a large one would be asked about when read back
    if kind == "hours":
        return f"{float(value)!r} h"
    unit = known_units(kind)[0]
    # repr of a float is the shortest text that reads back as the same float.
    return f"{float(value)!r}" if unit in {"1", "digits"} else f"{float(value)!r} {unit}"


def _part(part: Any, specs: Mapping[str, FieldSpec], typed: Mapping[str, str]) -> dict[str, Any]:
    written: dict[str, Any] = {}
    for key, spec in specs.items():
        value = getattr(part, spec.field)
        if value is not None:
            written[key] = typed.get(spec.field) or _shown(value, spec.kind)
    return written


def _rig(rig: Rig) -> dict[str, Any]:
    written = _part(rig, keys.RIG, rig.typed)
    if rig.drag:
        written["drag"] = (
            [pair.split(": ") for pair in rig.typed["drag"].split("; ")]
            if "drag" in rig.typed
            else [[_shown(s, "speed"), _shown(t, "torque")] for s, t in rig.drag]
        )
    # A rig that says nothing has the default window only, which need not be written.
    if set(written) == {"averaging"} and "averaging_s" not in rig.typed:
        return {} if rig.averaging_s == Rig().averaging_s else written
    return written


def _instrument(instrument: Instrument) -> dict[str, Any]:
    specs = keys.instrument_fields(instrument.channel)
    return {"channel": instrument.channel.value, **_part(instrument, specs, instrument.typed)}


def _claim(claim: Claim) -> dict[str, Any]:
    return {
        "quantity": claim.quantity,
        "value": claim.value_typed,
        **_part(claim, keys.CLAIM, {}),
    }


def _columns(choices: tuple[ColumnChoice, ...]) -> dict[str, Any]:
    written: dict[str, Any] = {}
    for choice in choices:
        part: dict[str, Any] = {"channel": choice.channel.value if choice.channel else "none"}
        if choice.unit is not None:
            part["unit"] = choice.unit
        if choice.position is not None:
            part["position"] = choice.position
        key = choice.header
        if key in written:
            # Headers repeat: a key of its own, the header beside it.
            key = f"{choice.header} (column {(choice.position or 0) + 1})"
            part["header"] = choice.header
        written[key] = part
    return written
