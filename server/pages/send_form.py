"""From the fields of a draft to a bench, by way of the bench file's own shape."""

import re
from collections.abc import Mapping
from typing import Any

from server.errors import Problem, UnusableBench
from server.intake import bench_from_mapping
from server.model.bench import Bench
from server.model.recording import Column

_SECTIONS = ("plate", "rig", "appliance", "specimen", "run")
_LISTS = ("claim", "instrument")
_PAIR = re.compile(r"\s*[,;:\t|]\s*|\s{2,}")
# A plate says nothing where only the motor's usual choice was left as it was.
_USUAL = {"plate.motor_family": "unknown", "run.source": "logger", "run.kind": "brake"}

_KEPT = (*(f"{s}." for s in (*_SECTIONS, *_LISTS, "column", "pick")), "find")

Form = Mapping[str, str]


def kept_fields(posted: Mapping[str, Any]) -> dict[str, str]:
    """What a form brought that a draft keeps: text under a dotted name, as it was typed."""
    return {
        name: value
        for name, value in posted.items()
        if isinstance(value, str) and name.startswith(_KEPT) and len(name) < 100
    }


def form_mapping(form: Form) -> dict[str, Any]:
    """The form as the bench file's shape; empty fields are left out."""
    data: dict[str, Any] = {}
    lists: dict[str, dict[int, dict[str, str]]] = {name: {} for name in _LISTS}
    columns: dict[int, dict[str, Any]] = {}
    for name, value in form.items():
        section, _, rest = name.partition(".")
        number, _, key = rest.partition(".")
        if section == "column" and number.isdigit():
            columns.setdefault(int(number), {})[key] = value
        elif not value.strip() or _USUAL.get(name) == value:
            continue
        elif section in _SECTIONS:
            data.setdefault(section, {})[rest] = value.strip()
        elif section in _LISTS and number.isdigit():
            lists[section].setdefault(int(number), {})[key] = value.strip()
    for section, entries in lists.items():
        if entries:
            data[section] = [entries[number] for number in sorted(entries)]
    if isinstance(data.get("rig", {}).get("drag"), str):
        data["rig"]["drag"] = _drag_pairs(data["rig"]["drag"])
    if columns:
        data["columns"] = _column_choices(columns)
    return data


def _drag_pairs(text: str) -> list[list[str]]:
    return [_PAIR.split(line.strip()) for line in text.splitlines() if line.strip()]


def _column_choices(columns: Mapping[int, Mapping[str, Any]]) -> dict[str, Any]:
    """Only the columns whose reading differs from the guess are the sender's word."""
    choices = {}
    for position, column in sorted(columns.items()):
        channel, unit = column.get("channel", ""), column.get("unit", "").strip()
        if (channel, unit) == (column.get("guessed_channel", ""), column.get("guessed_unit", "")):
            continue
        choice: dict[str, Any] = {
            "header": column.get("header", ""),
            "position": position,
            "channel": channel or "none",
        }
        if channel and unit:
            choice["unit"] = unit
        choices[str(position)] = choice
    return choices


def guessed_fields(columns: tuple[Column, ...]) -> dict[str, str]:
    """The guess of each column as fields, to tell later what the sender changed."""
    fields = {}
    for column in columns:
        start = f"column.{column.position}"
        fields[f"{start}.header"] = column.header
        fields[f"{start}.guessed_channel"] = column.channel.value if column.channel else ""
        fields[f"{start}.guessed_unit"] = column.unit or ""
    return fields


def bench_of(form: Form) -> Bench:
    """The bench that a form describes. Raises UnusableBench with every problem."""
    return bench_from_mapping(form_mapping(form), name="what was filled in")


def try_bench(form: Form) -> tuple[Bench, tuple[Problem, ...]]:
    """The bench as far as it can be read, and what stands in the way of the rest."""
    data = form_mapping(form)
    try:
        return bench_from_mapping(data, name="what was filled in"), ()
    except UnusableBench as error:
        problems = tuple(error.problems)
    try:
        return bench_from_mapping(_without(data, problems), name="the rest"), problems
    except UnusableBench:
        return Bench(), problems


def _without(data: dict[str, Any], problems: tuple[Problem, ...]) -> dict[str, Any]:
    """The mapping without what the problems name: "plate.voltage", "claim[1].value"."""
    places = [(problem.field or "").partition(".")[::2] for problem in problems]
    left: dict[str, Any] = {}
    for section, part in data.items():
        if isinstance(part, list):
            wrong = {place for place, _ in places}
            left[section] = [
                entry for i, entry in enumerate(part, start=1) if f"{section}[{i}]" not in wrong
            ]
        else:
            keys = {key.partition("[")[0] for place, key in places if place == section}
            if "" not in keys:
                left[section] = {key: value for key, value in part.items() if key not in keys}
    return left


def problems_by_field(form: Form, problems: tuple[Problem, ...]) -> dict[str, str]:
    """Each problem beside the field it is about; lists are numbered as the form numbers them."""
    numbers: dict[str, list[str]] = {}
    for name in sorted(form):
        section, number, *_ = [*name.split("."), ""]
        if section in _LISTS and form[name].strip() and number not in numbers.get(section, []):
            numbers.setdefault(section, []).append(number)
    found = {}
    for problem in problems:
        place, _, key = (problem.field or "").partition(".")
        section, _, index = place.partition("[")
        known = numbers.get(section, [])
        at = int(index.rstrip("]")) - 1 if index.rstrip("]").isdigit() else -1
        if 0 <= at < len(known):
            section = f"{section}.{known[at]}"
        name = f"{section}.{key.partition('[')[0]}" if key else section
        found[name] = f"{problem.message} {problem.remedy}".strip()
    return found
