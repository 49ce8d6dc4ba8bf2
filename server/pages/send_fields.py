"""The fields of the guided way to send a run. Each name is a path into the bench file's shape."""

from collections.abc import Mapping
from dataclasses import dataclass

from server.errors import Problem
from server.model.words import AbsorberType, Channel, MotorFamily, Source, Supply
from server.pages.shapes import Option
from server.wording.labels import channel_word, family_word, source_word

N_INSTRUMENTS = 6
N_CLAIMS = 3


@dataclass(frozen=True, slots=True)
class Field:
    """One field as asked for. `choices`: a select of (value, text); `kind`: text, date or area."""

    name: str
    label: str
    help: str = ""
    example: str = ""
    kind: str = "text"
    choices: tuple[tuple[str, str], ...] = ()
    is_whole: bool = False


@dataclass(frozen=True, slots=True)
class FieldShown:
    name: str
    label: str
    help: str
    example: str
    kind: str
    value: str
    options: tuple[Option, ...]
    is_whole: bool
    problem: str | None


@dataclass(frozen=True, slots=True)
class FieldGroup:
    title: str
    note: str
    fields: tuple[FieldShown, ...]


_YES_NO = (("", "not stated"), ("yes", "yes"), ("no", "no"))
_NOT_STATED = ("", "not stated")

APPLIANCE = (
    Field("appliance.maker", "Maker", "Needed for a new one.", "as on the plate"),
    Field("appliance.model", "Model", "Needed for a new one.", "as on the plate"),
    Field("appliance.category", "Category", example="wet/dry vacuum"),
)
APPLIANCE_MORE = (
    Field("appliance.model_number", "Model number"),
    Field("appliance.market", "Sold in"),
    Field("appliance.produced", "Made", example="2023–24"),
)
PLATE = (
    Field("plate.voltage", "Voltage", example="120 V"),
    Field("plate.supply", "Supply", choices=(_NOT_STATED, *((s.value, s.value) for s in Supply))),
    Field("plate.current", "Current", example="10.2 A"),
    Field("plate.power", "Power", example="1 200 W"),
    Field("plate.circuit", "Plug’s circuit", example="15 A"),
)
PLATE_MORE = (
    Field("plate.frequency", "Frequency", example="60 Hz"),
    Field("plate.speed", "Speed", example="20 000 r/min"),
    Field("plate.duty", "Duty", example="continuous"),
    Field(
        "plate.motor_family",
        "Motor",
        choices=tuple((family.value, family_word(family)) for family in reversed(MotorFamily)),
    ),
)
SPECIMEN = (
    Field("specimen.label", "Your name for this piece", example="no. 2"),
    Field("specimen.condition", "Condition", example="new, used, repaired"),
    Field("specimen.hours", "Hours run", example="12 h"),
    Field("specimen.brushes_run_in", "Brushes run in", choices=_YES_NO),
    Field("specimen.obtained", "How obtained", example="bought new"),
)
RIG = (
    Field("rig.name", "Your name for the rig", example="arm brake, garage"),
    Field(
        "rig.absorber",
        "Brake",
        choices=(_NOT_STATED, *((kind.value, kind.value) for kind in AbsorberType)),
    ),
    Field("rig.arm", "Effective arm", "Square to the force, where force is logged.", "250 mm"),
    Field("rig.rotor_inertia", "The rotor’s inertia", "", "1e-4 kg m^2"),
    Field("rig.pulses_per_revolution", "Pulses per revolution", "", "2"),
)
RIG_MORE = (
    Field("rig.lead_resistance", "Leads", "From the meter to the motor, there and back.", "0.15 Ω"),
    Field("rig.inertia", "Turning inertia", "All between air gap and sensor.", "3e-4 kg m^2"),
    Field("rig.averaging", "Momentary window", "100 ms unless said otherwise.", "100 ms"),
    Field("rig.meter_true_rms", "Meter reads true RMS", choices=_YES_NO),
    Field("rig.meter_real_power", "Meter reads real power", choices=_YES_NO),
    Field("rig.meter_bandwidth", "Meter’s bandwidth", example="10 kHz"),
    Field(
        "rig.drag",
        "Drag lost before the sensor",
        "One speed and its torque to a line.",
        "10 000 r/min, 5 mN·m",
        kind="area",
        is_whole=True,
    ),
)
# In the bench file's words.
KIND = Field(
    "run.kind",
    "What kind of run this is",
    "Readings by hand: each row is one load; no time column is needed.",
    choices=(
        ("brake", "Brake run, logged"),
        ("hand readings", "Brake run, readings by hand"),
        ("run-down", "Run-down: no drive, to drag or inertia"),
        ("run-up", "Run-up on a known inertia"),
        ("in use", "In use, in the assembled appliance"),
        ("locked rotor", "Rotor held still, briefly"),
    ),
)
SHEET = Field("run.sheet", "Sheet", "The one with the most numbers, unless another is chosen.")
RUN = (
    Field("run.tested_on", "Tested on", kind="date"),
    Field(
        "run.source", "Readings came from", choices=tuple((s.value, source_word(s)) for s in Source)
    ),
    Field("run.ambient", "Ambient", example="21 °C"),
    Field("run.supply_note", "Supply", example="wall outlet, 2.5 mm² cord"),
    Field(
        "run.added_inertia",
        "Inertia added for some run-downs",
        "Run-down only, where the file has falls with it and without.",
        "1e-4 kg m^2",
    ),
    Field("run.notes", "Notes", kind="area", is_whole=True),
)


def claim_fields(number: int) -> tuple[Field, ...]:
    return (
        Field(f"claim.{number}.value", "Printed power", "With its unit.", "5.0 hp"),
        Field(f"claim.{number}.wording", "Its exact words", example="5.0 peak hp"),
        Field(f"claim.{number}.where_printed", "Where it stands", example="carton, front"),
        Field(f"claim.{number}.footnote", "Its footnote"),
    )


_MEASURED = (
    Channel.FORCE,
    Channel.TORQUE,
    Channel.SPEED,
    Channel.VOLTAGE,
    Channel.CURRENT,
    Channel.POWER,
)


def instrument_fields(number: int) -> tuple[Field, ...]:
    start = f"instrument.{number}"
    channels = (_NOT_STATED, *((c.value, channel_word(c)) for c in _MEASURED))
    return (
        Field(f"{start}.channel", "Measures", choices=channels),
        Field(f"{start}.of_reading", "% of reading", example="0.5 %"),
        Field(f"{start}.range", "Range", example="20 A"),
        Field(f"{start}.of_range", "% of range", example="0.1 %"),
        Field(f"{start}.resolution", "Last digit", example="0.01 A"),
        Field(f"{start}.digits", "Digits", example="3"),
        Field(
            f"{start}.temperature_coefficient",
            "Of reading per kelvin",
            "Away from 23 °C; counts where the ambient is stated.",
            "0.02 %/K",
        ),
        Field(f"{start}.calibrated", "Calibrated", kind="date"),
    )


def show_field(field: Field, form: Mapping[str, str], problems: Mapping[str, str]) -> FieldShown:
    value = form.get(field.name, "")
    return FieldShown(
        name=field.name,
        label=field.label,
        help=field.help,
        example=field.example,
        kind="select" if field.choices else field.kind,
        value=value,
        options=tuple(Option(word, text, word == value) for word, text in field.choices),
        is_whole=field.is_whole,
        problem=problems.get(field.name),
    )


def show_group(
    title: str,
    fields: tuple[Field, ...],
    form: Mapping[str, str],
    problems: Mapping[str, str],
    note: str = "",
) -> FieldGroup:
    return FieldGroup(title, note, tuple(show_field(f, form, problems) for f in fields))


def label_of(place: str) -> str:
    """The label of the field a problem names: "plate.circuit" -> "Plug’s circuit"."""
    section, _, key = place.partition(".")
    name, _, number = section.partition("[")
    number = number.rstrip("]") or "1"
    if name == "claim":
        fields: tuple[Field, ...] = claim_fields(int(number) if number.isdigit() else 1)
    elif name == "instrument":
        fields = instrument_fields(int(number) if number.isdigit() else 1)
    else:
        fields = (
            *(*APPLIANCE, *APPLIANCE_MORE, *PLATE, *PLATE_MORE),
            *(*SPECIMEN, *RIG, *RIG_MORE, KIND, SHEET, *RUN),
        )
    for field in fields:
        if field.name in {place, f"{name}.{number}.{key}", f"{name}.{key.partition('[')[0]}"}:
            return field.label
    return place.replace("_", " ")


def problem_words(problem: Problem) -> str:
    """A problem as a sentence that names the field by its label."""
    if problem.field is None:
        return str(problem)
    return f"{label_of(problem.field)}: {problem.message} {problem.remedy}".strip()
