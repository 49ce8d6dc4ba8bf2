"""The bench file: TOML, or the same shape as JSON, to a checked `Bench` and back.

Every quantity is a string with its unit, kept as typed beside its SI value. All problems are
collected before the file is refused.
"""

from __future__ import annotations

import difflib
import tomllib
from collections.abc import Mapping
from itertools import pairwise
from typing import Any

from server.errors import Problem, UnitError, UnusableBench
from server.intake import bench_fields as keys
from server.intake.bench_fields import FieldSpec
from server.model.bench import (
    Appliance,
    Bench,
    Claim,
    ColumnChoice,
    Instrument,
    Plate,
    Rig,
    RunDetails,
    Specimen,
)
from server.model.words import Channel, Source
from server.units import channel_kind, conversion

_SECTIONS = ("plate", "rig", "instrument", "claim", "columns", "appliance", "specimen", "run")


# Offline nothing needs a name; what is stored does, and `actions/` asks for it there.
_NAMELESS = {"maker": "", "model": "", "category": "other"}


class _Problems(list[Problem]):
    def add(self, field: str, message: str, remedy: str = "") -> None:
        self.append(Problem(message=message, remedy=remedy, field=field))


def read_bench(text: str | bytes, *, name: str = "bench file") -> Bench:
    """Read a bench file (TOML). Raises UnusableBench with every problem found."""
    try:
        plain = text.decode("utf-8-sig") if isinstance(text, bytes) else text.removeprefix("\ufeff")
        data = tomllib.loads(plain)
    except UnicodeDecodeError as error:
        problem = Problem("the bench file is not UTF-8 text.", "Save it as UTF-8.")
        raise UnusableBench(name, [problem]) from error
    except tomllib.TOMLDecodeError as error:
        problem = Problem(
            f"this is not TOML: {error}.", "Check quotation marks and brackets near that place."
        )
        raise UnusableBench(name, [problem]) from error
    return bench_from_mapping(data, name=name)


def bench_from_mapping(data: Any, *, name: str = "bench") -> Bench:
    """The same shape as a mapping (JSON). Raises UnusableBench with every problem found."""
    problems = _Problems()
    if not isinstance(data, Mapping):
        problems.add("", "the bench must be an object with plate, rig and the like.")
        raise UnusableBench(name, problems)
    _check_keys(data, _SECTIONS, "", problems)
    plate = _filled(data, "plate", keys.PLATE, problems)
    rig = _filled(data, "rig", keys.RIG, problems, also=("drag",))
    specimen = _filled(data, "specimen", keys.SPECIMEN, problems)
    appliance = _filled(data, "appliance", keys.APPLIANCE, problems)
    run = _filled(data, "run", keys.RUN, problems)
    rig["drag"] = _drag(_section(data, "rig"), rig, problems)
    instruments = _instruments(data.get("instrument"), problems)
    claims = _claims(data.get("claim"), problems)
    columns = _columns(data.get("columns"), problems)
    specimen.pop("typed", None)
    appliance.pop("typed", None)
    if _word_of(data, "run", "kind") in {"hand readings", "hand_readings", "hand-readings"}:
        run.setdefault("source", Source.BY_HAND)
    if problems:
        raise UnusableBench(name, problems)
    return Bench(
        plate=Plate(**plate),
        rig=Rig(**rig, instruments=instruments),
        claims=claims,
        columns=columns,
        appliance=Appliance(**{**_NAMELESS, **appliance}) if appliance else None,
        specimen=Specimen(**specimen),
        run=RunDetails(**run),
    )


def _word_of(data: Mapping[str, Any], section: str, key: str) -> str | None:
    value = _section(data, section).get(key)
    return value.strip().casefold() if isinstance(value, str) else None


def _section(data: Mapping[str, Any], section: str) -> Mapping[str, Any]:
    part = data.get(section)
    return part if isinstance(part, Mapping) else {}


def _check_keys(
    part: Mapping[str, Any], known: tuple[str, ...], place: str, problems: _Problems
) -> None:
    for key in part:
        if key in known:
            continue
        near = difflib.get_close_matches(str(key), known, n=1, cutoff=0.5)
        remedy = f"Did you mean “{near[0]}”?" if near else f"Known here: {', '.join(known)}."
        problems.add(f"{place}.{key}" if place else str(key), "there is no such key.", remedy)


def _filled(
    data: Mapping[str, Any],
    section: str,
    specs: Mapping[str, FieldSpec],
    problems: _Problems,
    *,
    also: tuple[str, ...] = (),
) -> dict[str, Any]:
    """The fields of one section, with `typed` for what was written as a quantity."""
    part = data.get(section)
    if part is None:
        return {}
    if not isinstance(part, Mapping):
        problems.add(section, "must be a table of keys and values.", f"Write [{section}] once.")
        return {}
    _check_keys(part, (*specs, *also), section, problems)
    return _read_fields(part, section, specs, problems)


def _read_fields(
    part: Mapping[str, Any], place: str, specs: Mapping[str, FieldSpec], problems: _Problems
) -> dict[str, Any]:
    filled: dict[str, Any] = {}
    typed: dict[str, str] = {}
    for key, spec in specs.items():
        value = part.get(key)
        if value is None or (isinstance(value, str) and not value.strip()):
            continue
        try:
            got = spec.read(value)
        except UnitError as error:
            problems.add(f"{place}.{key}", str(error))
            continue
        if got is None:
            continue
        filled[spec.field] = got
        if spec.kind is not None:
            typed[spec.field] = str(value).strip()
    if typed:
        filled["typed"] = typed
    return filled


def _drag(
    part: Mapping[str, Any], rig: dict[str, Any], problems: _Problems
) -> tuple[tuple[float, float], ...]:
    pairs = part.get("drag")
    if pairs is None:
        return ()
    if not isinstance(pairs, list | tuple):
        problems.add("rig.drag", "must be a list of [speed, torque] pairs.")
        return ()
    read = []
    written = []
    for index, pair in enumerate(pairs, start=1):
        place = f"rig.drag[{index}]"
        if not isinstance(pair, list | tuple) or len(pair) != 2:
            problems.add(place, "must be a pair, [speed, torque].", 'Like ["10000 rpm", "5 mN·m"].')
            continue
        try:
            read.append((keys.quantity("speed")(pair[0]), keys.quantity("torque")(pair[1])))
            written.append(f"{pair[0]}: {pair[1]}")
        except UnitError as error:
            problems.add(place, str(error))
    read.sort()
    if any(a[0] == b[0] for a, b in pairwise(read)):
        problems.add("rig.drag", "names one speed twice.", "Keep one torque for each speed.")
    if written:
        rig["typed"] = {**rig.get("typed", {}), "drag": "; ".join(written)}
    return tuple(read)


def _tables(value: Any, section: str, problems: _Problems) -> list[Mapping[str, Any]]:
    if value is None:
        return []
    if isinstance(value, Mapping):
        value = [value]
    if not isinstance(value, list | tuple) or not all(isinstance(v, Mapping) for v in value):
        problems.add(section, "must be a list of tables.", f"Write [[{section}]] before each.")
        return []
    return list(value)


def _instruments(value: Any, problems: _Problems) -> tuple[Instrument, ...]:
    made = []
    for index, part in enumerate(_tables(value, "instrument", problems), start=1):
        place = f"instrument[{index}]"
        try:
            channel = keys.one_of(Channel)(part.get("channel"))
        except UnitError as error:
            problems.add(f"{place}.channel", str(error))
            continue
        assert isinstance(channel, Channel)
        specs = keys.instrument_fields(channel)
        _check_keys(part, ("channel", *specs), place, problems)
        filled = _read_fields(part, place, specs, problems)
        made.append(Instrument(channel=channel, **filled))
    return tuple(made)


def _claims(value: Any, problems: _Problems) -> tuple[Claim, ...]:
    made = []
    for index, part in enumerate(_tables(value, "claim", problems), start=1):
        place = f"claim[{index}]"
        _check_keys(part, ("quantity", "value", *keys.CLAIM), place, problems)
        quantity = part.get("quantity", "power")
        if quantity not in keys.CLAIM_QUANTITIES:
            remedy = f"Known: {', '.join(keys.CLAIM_QUANTITIES)}."
            problems.add(f"{place}.quantity", f"“{quantity}” is no quantity of a claim.", remedy)
            continue
        written = part.get("value")
        filled = _read_fields(part, place, keys.CLAIM, problems)
        try:
            if written is None:
                raise UnitError("is missing; write it like “5 hp”.")
            value_si = keys.positive(keys.quantity(quantity))(written)
        except UnitError as error:
            problems.add(f"{place}.value", str(error))
            continue
        typed = str(written).strip()
        filled["wording"] = filled.get("wording") or typed
        made.append(Claim(quantity=quantity, value_si=value_si, value_typed=typed, **filled))
    return tuple(made)


def _columns(part: Any, problems: _Problems) -> tuple[ColumnChoice, ...]:
    made: list[ColumnChoice] = []
    if part is None:
        return ()
    if not isinstance(part, Mapping):
        problems.add("columns", "must be a table of header = {channel, unit}.")
        return ()
    for header, value in part.items():
        place = f"columns.{header}"
        choice = {"channel": value} if isinstance(value, str) else value
        if not isinstance(choice, Mapping):
            problems.add(place, 'must be like {channel = "torque", unit = "ozf·in"}.')
            continue
        _check_keys(choice, ("channel", "unit", "position", "header"), place, problems)
        word, unit, position = (choice.get(k) for k in ("channel", "unit", "position"))
        channel: Channel | None = None
        try:
            if word is not None and word not in {"", "none", "other"}:
                channel = Channel(keys.one_of(Channel)(word))
            if channel is not None and unit:
                conversion(str(unit), channel_kind(channel))
        except UnitError as error:
            problems.add(place, str(error))
            continue
        if position is not None and (not isinstance(position, int) or isinstance(position, bool)):
            problems.add(f"{place}.position", "must be a whole number; the first column is 0.")
            continue
        header = str(choice.get("header", header))
        made.append(ColumnChoice(header, channel, str(unit) if unit else None, position))
    return tuple(made)


def bench_to_mapping(bench: Bench) -> dict[str, Any]:
    """The bench file's shape back, as JSON values: what was typed, or SI with its unit."""
    from server.intake.bench_export import export

    return export(bench)
