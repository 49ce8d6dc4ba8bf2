"""Tables, curves, load points and metrics as CSV (RFC 4180) and JSON, with their licence.

Figures are exact here: SI or the stated unit, unrounded, a point for the decimals; rounding is for
people. Text cells that a spreadsheet would run as a formula get a leading apostrophe.
"""

import math
from collections.abc import Iterable, Mapping, Sequence

import orjson

from server.charts.figure import FigureTable
from server.model.measured import JsonValue, Metric
from server.model.results import Curve, LoadPoint, Trace
from server.model.words import CHANNEL_UNITS, Channel, MetricName

DATA_LICENCE = "CC BY 4.0"
DATA_LICENCE_URL = "https://creativecommons.org/licenses/by/4.0/"
LICENCE_LINE = f"Benchledger data, {DATA_LICENCE}, {DATA_LICENCE_URL}"
# Goes with every CSV answer, so that the file itself stays plain RFC 4180.
LICENCE_HEADERS: Mapping[str, str] = {"Link": f'<{DATA_LICENCE_URL}>; rel="license"'}

Cell = str | float | int | bool | None
# What spreadsheets take for the start of a formula, and what they strip before looking.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r", "\n", "\uff1d", "\uff0b", "\uff0d", "\uff20")


def guarded(text: str) -> str:
    """The text, made harmless for spreadsheets: it stays text, with an apostrophe before it."""
    return f"'{text}" if text.lstrip(" \u00a0").startswith(_FORMULA_STARTS) else text


def csv_cell(cell: Cell) -> str:
    """One cell: numbers as they are (empty where missing), text guarded and quoted as needed."""
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "true" if cell else "false"
    if isinstance(cell, int | float):
        assert math.isfinite(cell), "no figure that is not finite leaves the ledger"
        return repr(cell)
    text = guarded(cell)
    if any(c in text for c in ',"\r\n') or text != text.strip():
        return '"' + text.replace('"', '""') + '"'
    return text


def csv_text(
    headers: Sequence[str], rows: Iterable[Sequence[Cell]], *, with_licence_line: bool = False
) -> str:
    """RFC 4180: CRLF, quotes doubled. `with_licence_line`: a leading `# …` line, for files that
    leave without an HTTP header; not part of RFC 4180, so only where asked for."""
    lines = [f"# {LICENCE_LINE}"] if with_licence_line else []
    lines.append(",".join(csv_cell(h) for h in headers))
    lines += [",".join(csv_cell(cell) for cell in row) for row in rows]
    return "\r\n".join(lines) + "\r\n"


def table_csv(table: FigureTable, *, with_licence_line: bool = False) -> str:
    """A shown table, in the words it is shown with."""
    return csv_text(table.headers, table.rows, with_licence_line=with_licence_line)


METRIC_HEADERS = (
    "metric",
    "value",
    "unit",
    "standard_uncertainty",
    "lower_bound",
    "reason",
    "method_version",
)


def metric_rows(
    metrics: Mapping[MetricName, Metric], method_version: str
) -> list[tuple[Cell, ...]]:
    return [
        (
            name.value,
            metric.value,
            metric.unit or "1",
            metric.standard_uncertainty,
            metric.lower_bound,
            metric.reason,
            method_version,
        )
        for name, metric in metrics.items()
    ]


def metrics_csv(
    metrics: Mapping[MetricName, Metric], *, method_version: str, with_licence_line: bool = False
) -> str:
    """`method_version`: which method made them."""
    rows = metric_rows(metrics, method_version)
    return csv_text(METRIC_HEADERS, rows, with_licence_line=with_licence_line)


CURVE_HEADERS = ("quantity", "unit", "torque [N m]", "value", "standard_uncertainty", "beyond_data")


def curve_rows(curves: Sequence[Curve]) -> list[tuple[Cell, ...]]:
    return [
        (curve.quantity, curve.unit or "1", torque, value, u, beyond)
        for curve in curves
        for torque, value, u, beyond in zip(
            curve.torque_nm, curve.value, curve.standard_uncertainty, curve.beyond, strict=True
        )
    ]


def curves_csv(curves: Sequence[Curve], *, with_licence_line: bool = False) -> str:
    return csv_text(CURVE_HEADERS, curve_rows(curves), with_licence_line=with_licence_line)


# header with its unit -> field of a load point
POINT_FIELDS: dict[str, str] = {
    "start [s]": "start_s",
    "end [s]": "end_s",
    "steady_dwell": "is_dwell",
    "samples": "n_samples",
    "effective_samples": "n_effective",
    "torque [N m]": "torque_nm",
    "u(torque) [N m]": "u_torque_nm",
    "speed [rad/s]": "speed_rad_s",
    "u(speed) [rad/s]": "u_speed_rad_s",
    "shaft_power [W]": "shaft_power_w",
    "u(shaft_power) [W]": "u_shaft_power_w",
    "voltage [V]": "voltage_v",
    "current [A]": "current_a",
    "u(current) [A]": "u_current_a",
    "input_power [W]": "input_power_w",
    "u(input_power) [W]": "u_input_power_w",
    "apparent_power [VA]": "apparent_power_va",
    "power_factor [1]": "power_factor",
    "efficiency [1]": "efficiency",
    "u(efficiency) [1]": "u_efficiency",
    "first_row": "first_row",
    "last_row": "last_row",
}


def points_csv(points: Sequence[LoadPoint], *, with_licence_line: bool = False) -> str:
    rows = ([getattr(point, field) for field in POINT_FIELDS.values()] for point in points)
    return csv_text(tuple(POINT_FIELDS), rows, with_licence_line=with_licence_line)


def trace_csv(trace: Trace, *, with_licence_line: bool = False) -> str:
    """The thinned trace, long form: each channel has its own times."""
    rows = (
        (name, time, value, _channel_unit(name))
        for name, values in trace.value.items()
        for time, value in zip(trace.time_s[name], values, strict=True)
    )
    headers = ("channel", "time [s]", "value", "unit")
    return csv_text(headers, rows, with_licence_line=with_licence_line)


def _channel_unit(name: str) -> str:
    return CHANNEL_UNITS[Channel(name)] if name in {c.value for c in Channel} else ""


def licensed_json(content: JsonValue) -> bytes:
    """JSON with its licence named beside the content."""
    licence = {"name": DATA_LICENCE, "url": DATA_LICENCE_URL}
    return orjson.dumps({"licence": licence, "data": content})


def table_json(table: FigureTable) -> bytes:
    """A shown table as JSON: one object per row, keyed by header."""
    rows: list[JsonValue] = [dict(zip(table.headers, row, strict=True)) for row in table.rows]
    return licensed_json({"caption": table.caption, "rows": rows})
