"""From what is stored back to the fields of the forms: to correct a run, to copy a rig."""

from collections.abc import Mapping
from typing import Any

from server.intake import bench_to_mapping
from server.model.bench import Bench, Rig
from server.model.recording import Column
from server.pages.send_fields import KIND

_LISTS = ("instrument", "claim")


def bench_fields(bench: Bench) -> dict[str, str]:
    """A bench as the forms have it, all but its columns. What was typed stands as typed."""
    fields: dict[str, str] = {}
    for section, part in bench_to_mapping(bench).items():
        if section == "columns":
            continue
        if section in _LISTS:
            for number, entry in enumerate(part, start=1):
                fields |= _flat(f"{section}.{number}", entry)
        else:
            fields |= _flat(section, part)
    if "run.kind" in fields:
        fields["run.kind"] = _kind_choice(fields["run.kind"], fields.get("run.source", ""))
    return fields


def rig_fields(rig: Rig) -> dict[str, str]:
    """A rig and its instruments as the forms have them."""
    return {
        name: value
        for name, value in bench_fields(Bench(rig=rig)).items()
        if name.startswith(("rig.", "instrument."))
    }


def column_fields(columns: tuple[Column, ...]) -> dict[str, str]:
    """How the columns of a stored run were read."""
    fields = {}
    for column in columns:
        start = f"column.{column.position}"
        fields[f"{start}.header"] = column.header
        fields[f"{start}.channel"] = column.channel.value if column.channel else ""
        fields[f"{start}.unit"] = column.unit or ""
    return fields


def _flat(start: str, part: Mapping[str, Any]) -> dict[str, str]:
    return {f"{start}.{key}": _text(value) for key, value in part.items()}


def _text(value: Any) -> str:
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, list):  # pairs of speed and torque, one to a line
        return "\n".join(", ".join(str(one) for one in pair) for pair in value)
    return str(value)


def _kind_choice(kind: str, source: str) -> str:
    """The form tells readings by hand apart, which are a brake run to the bench file."""
    if kind == "brake" and source == "by hand":
        return "hand readings"
    plain = kind.replace("_", " ")
    known = {word.replace("-", " "): word for word, _ in KIND.choices}
    return known.get(plain, kind)
