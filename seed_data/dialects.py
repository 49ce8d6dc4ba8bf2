"""How loggers write: separators, decimal marks, clocks, headers in four languages, blanks."""

from dataclasses import dataclass

import numpy as np

# unit -> how many of it make one SI unit of its channel (°C apart)
PER_SI = {
    "s": 1.0,
    "ms": 1e3,
    "V": 1.0,
    "mV": 1e3,
    "A": 1.0,
    "mA": 1e3,
    "W": 1.0,
    "kW": 1e-3,
    "hp": 1 / 745.699871582270,
    "VA": 1.0,
    "": 1.0,
    "%": 100.0,
    "Hz": 1.0,
    "N": 1.0,
    "lbf": 1 / 4.4482216152605,
    "g": 1e3 / 9.80665,
    "kgf": 1 / 9.80665,
    "N·m": 1.0,
    "mN·m": 1e3,
    "lbf·ft": 1 / 1.3558179483314,
    "lbf·in": 1 / 0.1129848290276167,
    "ozf·in": 1 / 0.00706155181422604,
    "kgf·cm": 1 / 0.0980665,
    "rad/s": 1.0,
    "rpm": 60 / (2 * np.pi),
    "1/min": 60 / (2 * np.pi),
    "tr/min": 60 / (2 * np.pi),
    "r/min": 60 / (2 * np.pi),
    "K": 1.0,
    "°C": 1.0,
}

WORDS = {
    "english": {
        "time": "Time",
        "voltage": "Voltage",
        "current": "Current",
        "power": "Power",
        "apparent_power": "Apparent power",
        "power_factor": "Power factor",
        "frequency": "Frequency",
        "force": "Force",
        "torque": "Torque",
        "speed": "Speed",
        "temperature_1": "Temperature 1",
        "brake_setting": "Brake setting",
    },
    "symbols": {
        "time": "t",
        "voltage": "U",
        "current": "I",
        "power": "P",
        "apparent_power": "S",
        "power_factor": "PF",
        "frequency": "f",
        "force": "F",
        "torque": "M",
        "speed": "n",
        "temperature_1": "T1",
        "brake_setting": "brake",
    },
    "german": {
        "time": "Zeit",
        "voltage": "Spannung",
        "current": "Strom",
        "power": "Wirkleistung",
        "apparent_power": "Scheinleistung",
        "power_factor": "Leistungsfaktor",
        "frequency": "Frequenz",
        "force": "Kraft",
        "torque": "Drehmoment",
        "speed": "Drehzahl",
        "temperature_1": "Temperatur 1",
        "brake_setting": "Bremse",
    },
    "french": {
        "time": "Temps",
        "voltage": "Tension",
        "current": "Courant",
        "power": "Puissance active",
        "apparent_power": "Puissance apparente",
        "power_factor": "Facteur de puissance",
        "frequency": "Fréquence",
        "force": "Force",
        "torque": "Couple",
        "speed": "Vitesse",
        "temperature_1": "Température 1",
        "brake_setting": "Frein",
    },
    "spanish": {
        "time": "Tiempo",
        "voltage": "Tensión",
        "current": "Corriente",
        "power": "Potencia activa",
        "apparent_power": "Potencia aparente",
        "power_factor": "Factor de potencia",
        "frequency": "Frecuencia",
        "force": "Fuerza",
        "torque": "Par",
        "speed": "Velocidad",
        "temperature_1": "Temperatura 1",
        "brake_setting": "Freno",
    },
    "plain": {  # no capitals, no signs: units are joined with an underscore
        "time": "time",
        "voltage": "voltage",
        "current": "current",
        "power": "power",
        "apparent_power": "apparent_power",
        "power_factor": "power_factor",
        "frequency": "frequency",
        "force": "force",
        "torque": "torque",
        "speed": "speed",
        "temperature_1": "temperature_1",
        "brake_setting": "brake_setting",
    },
}

PLAIN_UNITS = {
    "N·m": "nm",
    "mN·m": "mnm",
    "lbf·ft": "lbfft",
    "lbf·in": "lbfin",
    "ozf·in": "ozfin",
    "kgf·cm": "kgfcm",
    "rad/s": "rads",
    "°C": "degc",
}

DIGITS = {  # decimals written, by unit
    "s": 3, "ms": 0, "V": 2, "mV": 0, "A": 3, "mA": 0, "W": 1, "kW": 4, "hp": 4, "VA": 1, "": 4,
    "%": 1, "Hz": 2, "N": 3, "lbf": 4, "g": 1, "kgf": 4, "N·m": 4, "mN·m": 2, "lbf·ft": 4,
    "lbf·in": 3, "ozf·in": 2, "kgf·cm": 3, "rad/s": 2, "rpm": 1, "1/min": 1, "tr/min": 1,
    "r/min": 1, "K": 1, "°C": 1,
}  # fmt: skip


@dataclass(frozen=True)
class Dialect:
    """One logger's way of writing."""

    language: str = "english"
    separator: str = ","
    decimal: str = "."
    thousands: str = ""
    units: str = "brackets"  # brackets | square | slash | row | joined
    clock: str = "s"  # s | ms | mm:ss | hh:mm:ss | iso
    encoding: str = "utf-8"
    newline: str = "\r\n"
    preamble: tuple[str, ...] = ()
    quoted: bool = False
    blank: str = ""
    blank_rel: float = 0.0
    padded: bool = False
    extra: str | None = None  # a column that means nothing to us


def header_of(dialect: Dialect, channel: str, unit: str) -> str:
    word = WORDS[dialect.language][channel]
    if not unit or dialect.units == "row":
        return word
    if dialect.units == "joined":
        return f"{word}_{PLAIN_UNITS.get(unit, unit.replace('/', '')).lower()}"
    if dialect.units == "slash":
        return f"{word} / {unit}"
    return f"{word} [{unit}]" if dialect.units == "square" else f"{word} ({unit})"


def write_log(channels, units, dialect: Dialect, rng, *, order=None) -> bytes:
    """The log as bytes. `units`: channel -> unit written; only those channels are written."""
    names = list(order or units)
    headers, rows_units, columns = [], [], []
    nothing = "-" if dialect.separator == " " else ""  # an empty cell can't be seen between spaces
    for name in names:
        unit = _clock_unit(dialect) if name == "time" else units[name]
        headers.append(header_of(dialect, name, unit))
        rows_units.append(unit or nothing)
        columns.append(_cells(channels[name], name, unit, dialect, rng))
    if dialect.extra:
        headers.append(dialect.extra)
        rows_units.append(nothing)
        columns.append(["7"] * len(columns[0]))
    if dialect.padded:
        columns = [[cell.rjust(12) for cell in column] for column in columns]
    if dialect.quoted:
        headers = [f'"{header}"' for header in headers]
    joiner = dialect.separator
    lines = [*dialect.preamble, joiner.join(headers)]
    if dialect.units == "row":
        lines.append(joiner.join(rows_units))
    lines.extend(joiner.join(row) for row in zip(*columns, strict=True))
    text = dialect.newline.join(lines) + dialect.newline
    return text.encode(dialect.encoding)


def _clock_unit(dialect: Dialect) -> str:
    return {"s": "s", "ms": "ms"}.get(dialect.clock, "")


def _cells(values, name: str, unit: str, dialect: Dialect, rng) -> list[str]:
    if name == "time":
        return _clock(values, dialect)
    shown = values * PER_SI[unit] - (273.15 if unit == "°C" else 0.0)
    form = f"{{:{',' if dialect.thousands else ''}.{DIGITS[unit]}f}}".format
    cells = [form(v) for v in shown.tolist()]
    if dialect.thousands or dialect.decimal != ".":
        marks = str.maketrans({",": dialect.thousands, ".": dialect.decimal})
        cells = [cell.translate(marks) for cell in cells]
    if dialect.thousands and dialect.thousands == dialect.separator:
        cells = [f'"{cell}"' if dialect.thousands in cell else cell for cell in cells]
    if dialect.blank_rel:
        for row in np.flatnonzero(rng.random(len(cells)) < dialect.blank_rel):
            cells[row] = dialect.blank
    return cells


def _clock(seconds, dialect: Dialect) -> list[str]:
    if dialect.clock == "ms":
        return [str(round(v * 1e3)) for v in seconds.tolist()]
    if dialect.clock == "s":
        return [f"{v:.3f}".replace(".", dialect.decimal) for v in seconds.tolist()]
    if dialect.clock == "iso":
        start = np.datetime64("2026-05-14T09:12:30.000", "ms")
        stamps = start + np.round(seconds * 1e3).astype("timedelta64[ms]")
        return [str(stamp) for stamp in stamps]
    cells = []
    for total in np.round(seconds * 1e3).astype(int).tolist():
        minutes, ms = divmod(total, 60_000)
        tail = f"{ms // 1000:02d}{dialect.decimal}{ms % 1000:03d}"
        if dialect.clock == "hh:mm:ss":
            cells.append(f"{14 + minutes // 60:02d}:{minutes % 60:02d}:{tail}")
        else:
            cells.append(f"{minutes:02d}:{tail}")
    return cells
