"""Tables as CSV, with the licence of the data in the headers."""

import csv
import io
from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from fastapi import Request, Response

from server.api.run_shapes import CurveOut, PointOut, RunRowOut, TraceOut
from server.api.shapes import MetricOut
from server.api.thing_shapes import ListingOut

LICENCE = "https://creativecommons.org/licenses/by/4.0/"
LICENCE_LINK = f'<{LICENCE}>; rel="license"'
CSV_TOO: dict[str, Any] = {"content": {"text/csv": {"schema": {"type": "string"}}}}
NOT_CHANGED: dict[str, Any] = {"description": "Not changed since the version of If-None-Match"}

Cell = str | float | int | bool | None


# A cell that starts with one of these is a formula to a spreadsheet.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


def values_csv(columns: Sequence[str], rows: Iterable[Sequence[Cell]]) -> str:
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow(columns)
    writer.writerows([[_guarded(cell) for cell in row] for row in rows])
    return text.getvalue()


def _guarded(cell: Cell) -> Cell:
    if isinstance(cell, bool):
        return str(cell).lower()
    if isinstance(cell, str) and cell.startswith(_FORMULA_STARTS):
        return f"'{cell}"
    return cell


def csv_response(
    name: str, columns: Sequence[str], rows: Iterable[Sequence[Cell]], *, links: Sequence[str] = ()
) -> Response:
    return Response(
        values_csv(columns, rows),
        media_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{name}.csv"',
            "Link": ", ".join([LICENCE_LINK, *links]),
        },
    )


def metrics_csv(name: str, metrics: Mapping[str, MetricOut]) -> Response:
    columns = ("name", "value", "unit", "standard_uncertainty", "lower_bound", "reason")
    rows = [
        (word, m.value, m.unit, m.standard_uncertainty, m.lower_bound, m.reason)
        for word, m in metrics.items()
    ]
    return csv_response(name, columns, rows)


def points_csv(name: str, points: Sequence[PointOut]) -> Response:
    columns = tuple(PointOut.model_fields)
    return csv_response(name, columns, [[getattr(p, c) for c in columns] for p in points])


def curves_csv(name: str, curves: Sequence[CurveOut]) -> Response:
    columns = ("quantity", "unit", "torque", "value", "standard_uncertainty", "beyond")
    rows = [
        (c.quantity, c.unit, *numbers)
        for c in curves
        for numbers in zip(c.torque, c.value, c.standard_uncertainty, c.beyond, strict=True)
    ]
    return csv_response(name, columns, rows)


def trace_csv(name: str, trace: TraceOut) -> Response:
    """One row per point: the channels are thinned each for itself, so they share no times."""
    columns = ("channel", "unit", "time", "value")
    rows = [
        (c.channel, c.unit, time, value)
        for c in trace.channels
        for time, value in zip(c.time, c.value, strict=True)
    ]
    return csv_response(name, columns, rows)


def runs_csv(rows: Sequence[RunRowOut], *, next_cursor: str | None, request: Request) -> Response:
    names = _metric_names(row.metrics for row in rows)
    plain = ("id", "state", "kind", "tested_on", "tester", "specimen", "rig", "appliance_name")
    return csv_response(
        "runs",
        (*plain, "appliance", *_metric_columns(names)),
        [
            (
                *(_text(getattr(row, word)) for word in plain),
                row.appliance,
                *_metric_cells(names, row.metrics),
            )
            for row in rows
        ],
        links=_next_link(next_cursor, request),
    )


def listings_csv(
    rows: Sequence[ListingOut], *, next_cursor: str | None, request: Request
) -> Response:
    names = _metric_names(row.metrics for row in rows)
    plain = ("id", "maker", "model", "model_number", "category")
    counts = ("runs", "specimens", "testers")
    columns = (*plain, "printed_power_w", *counts, "run", *_metric_columns(names), "ratio")
    cells = [
        (
            *(getattr(row, word) for word in plain),
            row.printed_power.value if row.printed_power is not None else None,
            *(getattr(row, word) for word in counts),
            row.run,
            *_metric_cells(names, row.metrics),
            row.ratio,
        )
        for row in rows
    ]
    return csv_response("appliances", columns, cells, links=_next_link(next_cursor, request))


def _metric_names(of_rows: Iterable[Mapping[str, MetricOut]]) -> list[str]:
    return list(dict.fromkeys(name for metrics in of_rows for name in metrics))


def _metric_columns(names: Sequence[str]) -> list[str]:
    return [column for name in names for column in (name, f"u_{name}", f"{name}_is_lower_bound")]


def _metric_cells(names: Sequence[str], metrics: Mapping[str, MetricOut]) -> list[Cell]:
    cells: list[Cell] = []
    for name in names:
        m = metrics.get(name)
        known = m is not None and m.value is not None
        cells += (
            [m.value, m.standard_uncertainty, m.lower_bound]
            if m is not None and known
            else [None, None, None]
        )
    return cells


def _text(value: object) -> str | None:
    return None if value is None else str(value)


def _next_link(next_cursor: str | None, request: Request) -> list[str]:
    if next_cursor is None:
        return []
    address = request.url.include_query_params(cursor=next_cursor)
    return [f'<{quote(str(address), safe=":/?&=%~.-_")}>; rel="next"']
