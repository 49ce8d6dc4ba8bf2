"""The fields a remark can be tied to, by the names and labels of the form that sends a run."""

from collections.abc import Sequence
from dataclasses import dataclass

from server.model.moderation import Remark
from server.model.recording import Column
from server.model.views import RunView
from server.pages.send_fields import (
    APPLIANCE,
    KIND,
    PLATE,
    RIG,
    RUN,
    SPECIMEN,
    Field,
    claim_fields,
    instrument_fields,
)
from server.pages.shapes import Option
from server.wording.counts import show_date
from server.wording.labels import channel_word

_SECTIONS: tuple[tuple[str, tuple[Field, ...]], ...] = (
    ("The run", (KIND, *RUN)),
    ("Rating plate", PLATE),
    ("Appliance", APPLIANCE),
    ("Specimen", SPECIMEN),
    ("Rig", RIG),
)


@dataclass(frozen=True, slots=True)
class OptionGroup:
    label: str
    options: tuple[Option, ...]


@dataclass(frozen=True, slots=True)
class RemarkShown:
    label: str
    text: str
    by: str
    day: str
    field: str


def remark_options(view: RunView, *, chosen: str = "") -> tuple[OptionGroup, ...]:
    """What a remark on this run can be about, its columns by their headers."""
    groups = [OptionGroup("Whole", (Option("", "no field", chosen == ""),
                                    Option("run", "the run as a whole", chosen == "run"),
                                    Option("file", "the file", chosen == "file")))]  # fmt: skip
    for column in view.columns:
        start, name = f"column.{column.position}", column_name(column)
        groups.append(
            OptionGroup(
                name,
                (
                    _option(f"{start}.channel", f"{name}: meaning", chosen),
                    _option(f"{start}.unit", f"{name}: unit", chosen),
                ),
            )
        )
    groups += [_group(title, fields, chosen) for title, fields in _SECTIONS]
    for number in range(1, len(view.claims) + 1):
        groups.append(_group(f"Claim {number}", claim_fields(number), chosen))
    for number in range(1, len(view.rig.content.instruments) + 1):
        groups.append(_group(f"Instrument {number}", instrument_fields(number), chosen))
    return tuple(groups)


def column_name(column: Column) -> str:
    header = column.header if len(column.header) <= 40 else f"{column.header[:39]}…"
    return f"Column {column.position + 1} “{header}”" if header else f"Column {column.position + 1}"


def remark_label(field: str, columns: Sequence[Column] = ()) -> str:
    """A remark's field by its label: "Rating plate: Voltage"."""
    if field in {"file", "run"}:
        return {"file": "The file", "run": "The run as a whole"}[field]
    section, _, rest = field.partition(".")
    number, _, key = rest.partition(".")
    if section == "column" and number.isdigit():
        column = next((c for c in columns if c.position == int(number)), None)
        name = column_name(column) if column is not None else f"Column {int(number) + 1}"
        meaning = f" ({channel_word(column.channel)})" if column and column.channel else ""
        return f"{name}{meaning}: {'unit' if key == 'unit' else 'meaning'}"
    for title, fields in (
        *_SECTIONS,
        *_numbered(section, number),
    ):
        for one in fields:
            if one.name == field:
                return f"{title}: {one.label}"
    return field.replace("_", " ").replace(".", ": ", 1)


def show_remarks(remarks: Sequence[Remark], view: RunView) -> tuple[RemarkShown, ...]:
    return tuple(
        RemarkShown(
            label=remark_label(one.field, view.columns),
            text=one.text,
            by=one.by,
            day=show_date(one.at),
            field=one.field,
        )
        for one in remarks
    )


def _numbered(section: str, number: str) -> tuple[tuple[str, tuple[Field, ...]], ...]:
    if not number.isdigit():
        return ()
    if section == "claim":
        return ((f"Claim {number}", claim_fields(int(number))),)
    if section == "instrument":
        return ((f"Instrument {number}", instrument_fields(int(number))),)
    return ()


def _group(title: str, fields: tuple[Field, ...], chosen: str) -> OptionGroup:
    return OptionGroup(title, tuple(_option(f.name, f"{title}: {f.label}", chosen) for f in fields))


def _option(name: str, text: str, chosen: str) -> Option:
    return Option(name, text, name == chosen)
