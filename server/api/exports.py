"""Tables as CSV answers: what charts/ writes, with a name and the licence in the headers."""

from collections.abc import Iterable, Mapping, Sequence
from typing import Any
from urllib.parse import quote

from fastapi import Request, Response

from server.actions.rank_appliances import RANKED
from server.api.run_shapes import ComparedOut, RunRowOut
from server.api.shapes import MetricOut
from server.api.thing_shapes import ListingOut
from server.charts.export import LICENCE_HEADERS, Cell, csv_text

CSV_TOO: dict[str, Any] = {"content": {"text/csv": {"schema": {"type": "string"}}}}
NOT_CHANGED: dict[str, Any] = {"description": "Not changed since the version of If-None-Match"}


def csv_response(name: str, text: str, *, next_address: str | None = None) -> Response:
    links = [LICENCE_HEADERS["Link"]]
    if next_address is not None:
        links.append(f'<{next_address}>; rel="next"')
    return Response(
        text,
        media_type="text/csv; charset=utf-8",
        headers={
            "Content-Disposition": f'attachment; filename="{name}.csv"',
            "Link": ", ".join(links),
            "Cache-Control": "no-cache",
            "Vary": "Authorization, Cookie",
        },
    )


def runs_csv(rows: Sequence[RunRowOut], *, next_cursor: str | None, request: Request) -> Response:
    names = _metric_names(row.metrics for row in rows)
    plain = ("id", "state", "kind", "tested_on", "tester", "specimen", "rig", "appliance_name")
    text = csv_text(
        (*plain, "appliance", *_metric_columns(names)),
        [
            (
                *(_text(getattr(row, word)) for word in plain),
                row.appliance,
                *_metric_cells(names, row.metrics),
            )
            for row in rows
        ],
    )
    return csv_response("runs", text, next_address=_next_address(next_cursor, request))


def listings_csv(
    rows: Sequence[ListingOut], *, next_cursor: str | None, request: Request
) -> Response:
    names = _metric_names(row.metrics for row in rows)
    plain = ("id", "maker", "model", "model_number", "category")
    counts = ("runs", "specimens", "testers")
    columns = (*plain, "printed_power [W]", *counts, "run", *_metric_columns(names), "ratio")
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
    text = csv_text(columns, cells)
    return csv_response("appliances", text, next_address=_next_address(next_cursor, request))


def compared_csv(items: Sequence[ComparedOut]) -> Response:
    """Long form: a row for each figure of each appliance.

    The chance of being the highest stands in the row of the figure that is ranked.
    """
    rows = [
        (
            one.appliance.id,
            one.appliance.maker,
            one.appliance.model,
            one.run,
            name,
            m.value,
            m.unit or "1",
            m.standard_uncertainty,
            m.lower_bound,
            m.reason,
            one.method_version,
            one.chance_of_highest if name == RANKED else None,
        )
        for one in items
        for name, m in one.metrics.items()
    ]
    headers = ("id", "maker", "model", "run", "metric", "value", "unit", "standard_uncertainty")
    more = ("lower_bound", "reason", "method_version", "chance_of_highest")
    return csv_response("side-by-side", csv_text((*headers, *more), rows))


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


def _next_address(next_cursor: str | None, request: Request) -> str | None:
    if next_cursor is None:
        return None
    address = request.url.include_query_params(cursor=next_cursor)
    return quote(str(address), safe=":/?&=%~.-_")
