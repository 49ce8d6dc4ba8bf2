"""A figure description as a page shows it: pictures, a table, and data for the chart library."""

from typing import Any

import orjson

from server.charts import figure_plotly, figure_svg, figure_table
from server.charts.figure import CurvesPanel, FigureSpec
from server.charts.shapes import thinned
from server.pages.shapes import FigureShown, Link

# The widths of the sheet's three layouts at their smallest: a picture may grow, never shrink, so
# that no text is ever under 12 px.
WIDE_PX = 1080
MIDDLE_PX = 696
NARROW_PX = 328
# Measured points and lines over time; a fitted curve is thinned to little when it is drawn.
MANY_POINTS = 200
LONG_LINE = 400
TRACE_PX = 180  # how high a line over time is drawn


def show_figure(
    spec: FigureSpec,
    *,
    caption: str | None = None,
    explore: bool = True,
    links: tuple[Link, ...] = (),
) -> FigureShown:
    """A picture of many points does without the middle width and has one digit less to explore, so
    that its page stays light on the wire."""
    is_light = n_drawn(spec) <= MANY_POINTS
    digits = 5 if is_light else 4
    return FigureShown(
        id=spec.id,
        caption=caption,
        wide=figure_svg(spec, width=WIDE_PX),
        middle=figure_svg(spec, width=MIDDLE_PX) if is_light else "",
        narrow=figure_svg(spec, width=NARROW_PX),
        table=figure_table(spec),
        plotly=script_json(_rounded(figure_plotly(spec), digits)) if explore else None,
        links=links,
    )


def n_drawn(spec: FigureSpec) -> int:
    """How many measured points the curves of a figure hold, and points of lines over time."""
    n = 0
    for panel in spec.panels:
        if isinstance(panel, CurvesPanel):
            n += sum(len(points.x) for points in panel.points)
            n += sum(len(line.x) for line in panel.lines if not line.half_width)
    return n


def _thin(trace: dict[str, Any]) -> None:
    """A long line over time without the points that no screen tells apart."""
    x, y = trace["x"], trace["y"]
    if len(x) <= LONG_LINE or None in y:
        return
    width, height = (max(x) - min(x)) or 1.0, (max(y) - min(y)) or 1.0
    scale_x, scale_y = WIDE_PX / width, TRACE_PX / height
    kept = thinned([(a * scale_x, b * scale_y) for a, b in zip(x, y, strict=True)])
    trace["x"] = [a / scale_x for a, _ in kept]
    trace["y"] = [b / scale_y for _, b in kept]


def _rounded(figure: dict[str, Any], digits: int) -> dict[str, Any]:
    """Values to as many digits as a screen shows: a third of the bytes on the wire."""
    for trace in figure["data"]:
        if trace.get("mode") == "lines":
            _thin(trace)
        for holder, name in (
            (trace, "x"),
            (trace, "y"),
            (trace.get("error_x"), "array"),
            (trace.get("error_x"), "arrayminus"),
            (trace.get("error_y"), "array"),
        ):
            kept = 6 if name == "x" else digits  # a long run's clock needs every one of them
            if holder and isinstance(holder.get(name), list):
                holder[name] = [None if v is None else float(f"{v:.{kept}g}") for v in holder[name]]
    return figure


def script_json(value: object) -> str:
    """JSON that can stand inside a script element: no "<" can end it early."""
    return orjson.dumps(value).decode().replace("<", "\\u003c")
