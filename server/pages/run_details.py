"""What a run's figures rest on: the method, the rig, the specimen, the file and its columns."""

from collections.abc import Mapping

from server.actions.read_run_winding import read_run_winding
from server.charts.figure import FigureTable
from server.model.bench import REFERENCE_K, Instrument, Rig
from server.model.measured import JsonValue
from server.model.recording import Column
from server.model.results import Reduction
from server.model.views import PlacedOn, RunView
from server.model.words import CHANNEL_UNITS, RunKind
from server.pages.shapes import Link, Value
from server.wording.counts import count_of, show_date
from server.wording.figures import (
    NOT_STATED,
    ZERO_CELSIUS_K,
    show_plain,
    show_quantity,
    unbroken,
)
from server.wording.labels import channel_word
from server.wording.winding import show_winding


def method_values(view: RunView) -> tuple[Value, ...]:
    rows = [Value("Method", "not run yet", is_missing=True)]
    reduction = view.reduction
    if reduction is not None:
        rows = [
            Value("Method", reduction.method_version, href="/methods"),
            Value("Channels used", ", ".join(channel_word(c) for c in reduction.channels_used)),
        ]
        if reduction.kind is RunKind.BRAKE:
            rows += [_lag(reduction), Value("Steady stretches", _n_dwells(reduction))]
            window = show_quantity(view.rig.content.averaging_s, None, "s")
            rows.append(Value("Momentary window", window))
    if view.placed_on is not None:
        rows.append(_placed_on(view.placed_on))
    rows.append(Value("Revision of the run", str(view.revision)))
    return tuple(rows)


def _placed_on(run: PlacedOn) -> Value:
    named = f" ({run.specimen})" if run.specimen else ""
    whose = f"the same specimen{named}" if run.is_same_specimen else f"another specimen{named}"
    note = None
    if not run.is_same_specimen:
        note = "What specimens differ by comes on top of the uncertainty."
    return Value(
        "Placed on the curve of",
        f"a brake run of {whose}",
        note=note,
        href=f"/runs/{run.public_id}",
    )


def _lag(reduction: Reduction) -> Value:
    lag = reduction.lag
    if lag.seconds is None:
        return Value("Torque behind the other channels", "not told", note=lag.reason)
    seconds = show_quantity(lag.seconds, None, "s")
    return Value(
        "Torque behind the other channels",
        f"{seconds}, {'taken out' if lag.applied else 'left as it is'}",
        note=lag.reason,
    )


def _n_dwells(reduction: Reduction) -> str:
    n_dwells = sum(point.is_dwell for point in reduction.points)
    n_bins = len(reduction.points) - n_dwells
    words = [count_of(n_dwells, "steady load")]
    if n_bins:
        words.append(f"{count_of(n_bins, 'bin')} of a sweep")
    return " and ".join(words)


def rig_values(view: RunView) -> tuple[Value, ...]:
    rig = view.rig.content
    drag = f"{len(rig.drag)} pairs of speed and torque" if rig.drag else None
    rows: list[tuple[str, str | None]] = [
        ("Rig", rig.name),
        ("Brake", rig.absorber.value if rig.absorber is not None else None),
        ("Arm", _typed(rig, "arm_m", rig.arm_m, "m")),
        ("Turning inertia", _typed(rig, "inertia_kg_m2", rig.inertia_kg_m2, "kg m^2")),
        ("Of it the rotor", _typed(rig, "rotor_inertia_kg_m2", rig.rotor_inertia_kg_m2, "kg m^2")),
        ("Drag lost before the sensor", drag),
        ("Meter reads true RMS", _yes_no(rig.meter_true_rms)),
        ("Meter reads real power", _yes_no(rig.meter_real_power)),
        ("Revision of the rig", str(view.rig.revision)),
    ]
    rows[3:3] = _if_stated(rig)
    return tuple(Value(label, text or NOT_STATED, is_missing=text is None) for label, text in rows)


def _if_stated(rig: Rig) -> list[tuple[str, str | None]]:
    """What few rigs state: a row only where there is something to say."""
    found = [
        ("Arm off square by", _typed(rig, "arm_angle_rad", rig.arm_angle_rad, "rad")),
        ("Pivot’s friction", _typed(rig, "pivot_friction_nm", rig.pivot_friction_nm, "N m")),
        ("Leads", _typed(rig, "lead_resistance_ohm", rig.lead_resistance_ohm, "ohm")),
    ]
    return [row for row in found if row[1] is not None]


def _typed(rig: Rig, name: str, value_si: float | None, unit: str) -> str | None:
    if value_si is None:
        return None
    typed = rig.typed.get(name)
    return unbroken(typed).replace("^2", "²") if typed else show_plain(value_si, unit)


def _yes_no(value: bool | None) -> str | None:
    return None if value is None else "yes" if value else "no"


def instruments_table(rig: Rig) -> FigureTable | None:
    if not rig.instruments:
        return None
    return FigureTable(
        caption="Instruments",
        headers=("Measures", "Accuracy", "Range", "Calibrated"),
        rows=tuple(_instrument(one) for one in rig.instruments),
    )


def _instrument(one: Instrument) -> tuple[str, ...]:
    unit = CHANNEL_UNITS[one.channel]
    parts = []
    if one.of_reading:
        parts.append(f"{show_plain(one.of_reading, '')} of reading")
    if one.of_range:
        parts.append(f"{show_plain(one.of_range, '')} of range")
    if one.digits:
        parts.append(f"{one.digits:g} digits")
    if one.temperature_coefficient_per_k:
        typed = one.typed.get("temperature_coefficient_per_k")
        per_k = f"{show_plain(one.temperature_coefficient_per_k, '')} of reading per K"
        from_c = (one.reference_temperature_k or REFERENCE_K) - ZERO_CELSIUS_K
        parts.append(f"{unbroken(typed) if typed else per_k} from {from_c:g}\u00a0°C")
    measures = channel_word(one.channel)
    reach = NOT_STATED
    if one.range is not None:
        typed = one.typed.get("range")
        reach = unbroken(typed) if typed else show_plain(one.range, unit)
    return (
        f"{measures}, {one.name}" if one.name else measures,
        " + ".join(parts) or NOT_STATED,
        reach,
        show_date(one.calibrated) if one.calibrated else NOT_STATED,
    )


def specimen_values(view: RunView) -> tuple[Value, ...]:
    specimen, details = view.specimen.content, view.details
    rows: list[tuple[str, str | None]] = [
        ("Specimen", specimen.label),
        ("Condition", specimen.condition),
        ("Hours run", f"{specimen.hours:g} h" if specimen.hours is not None else None),
        ("Brushes run in", _yes_no(specimen.brushes_run_in)),
        ("How obtained", specimen.obtained),
        ("Tested on", show_date(details.tested_on) if details.tested_on else None),
        ("Ambient", _ambient(view)),
        ("Supply", details.supply_note),
        ("Notes", details.notes),
    ]
    shown = [Value(label, text or NOT_STATED, is_missing=text is None) for label, text in rows]
    winding = read_run_winding(view)
    if winding is not None:
        text, note = show_winding(winding)
        is_missing = winding.temperature_k is None
        shown.insert(-2, Value("Winding at the end", text, note=note, is_missing=is_missing))
    return tuple(shown)


def _ambient(view: RunView) -> str | None:
    kelvin = view.details.ambient_k
    if kelvin is None:
        return None
    typed = view.details.typed.get("ambient_k")
    return unbroken(typed) if typed else f"{kelvin - ZERO_CELSIUS_K:.1f}\u00a0°C"


def file_values(view: RunView) -> tuple[Value, ...]:
    return (
        Value("Name", view.file.name, href=f"/api/v1/runs/{view.public_id}/file"),
        Value("Size", f"{view.file.n_bytes:,} bytes".replace(",", "\u202f")),
        Value("SHA-256", view.file.sha256),
        Value("Rows", f"{view.n_rows:,}".replace(",", "\u202f")),
        Value("Written as", dialect_words(view.dialect)),
        Value("Licence", "CC BY 4.0", href="/data-licence"),
    )


def dialect_words(dialect: Mapping[str, JsonValue]) -> str:
    """How a file is written: "8 columns with commas between, decimal mark “.”, utf-8"."""
    words = []
    if dialect.get("n_columns"):
        words.append(f"{dialect['n_columns']} columns")
    if dialect.get("sheet"):
        return ", ".join([*words, *_sheet_words(dialect)])
    if dialect.get("separator"):
        words.append(f"{dialect['separator']} between cells")
    if dialect.get("decimal_mark"):
        words.append(f"decimal mark “{dialect['decimal_mark']}”")
    if dialect.get("encoding"):
        words.append(str(dialect["encoding"]))
    return ", ".join(words) or "delimited text"


def _sheet_words(dialect: Mapping[str, JsonValue]) -> list[str]:
    words = [f"sheet “{dialect['sheet']}”"]
    if isinstance(n := dialect.get("formulas"), int):
        words.append(f"{count_of(n, 'formula')} read as the values saved with the sheet")
    if isinstance(n := dialect.get("formulas_without_value"), int):
        words.append(f"{count_of(n, 'formula')} without a saved value read as blank")
    return words


def columns_table(columns: tuple[Column, ...]) -> FigureTable | None:
    if not columns:
        return None
    return FigureTable(
        caption="How the columns were read",
        headers=("Header", "Read as", "Unit", "Why"),
        rows=tuple(
            (
                column.header or f"column {column.position + 1}",
                channel_word(column.channel) if column.channel else "kept under its own name",
                column.unit or "none",
                column.reason,
            )
            for column in columns
        ),
    )


def run_exports(view: RunView) -> tuple[Link, ...]:
    api = f"/api/v1/runs/{view.public_id}"
    links = [Link("The file as it was sent", f"{api}/file"), Link("This run as JSON", api)]
    if view.reduction is not None:
        links += [
            Link("Figures as CSV", f"{api}/metrics?format=csv"),
            Link("Load points as CSV", f"{api}/points?format=csv"),
            Link("Curves as CSV", f"{api}/curves?format=csv"),
        ]
    return tuple(links)
