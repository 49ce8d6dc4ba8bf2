"""A figure description as a page shows it: pictures, a table, and data for the chart library."""

import orjson

from server.charts import figure_plotly, figure_svg, figure_table
from server.charts.figure import FigureSpec
from server.pages.shapes import FigureShown, Link

# The widths of the sheet's three layouts at their smallest: a picture may grow, never shrink, so
# that no text is ever under 12 px.
WIDE_PX = 1080
MIDDLE_PX = 696
NARROW_PX = 328


def show_figure(
    spec: FigureSpec,
    *,
    caption: str | None = None,
    explore: bool = True,
    links: tuple[Link, ...] = (),
) -> FigureShown:
    return FigureShown(
        id=spec.id,
        caption=caption,
        wide=figure_svg(spec, width=WIDE_PX),
        middle=figure_svg(spec, width=MIDDLE_PX),
        narrow=figure_svg(spec, width=NARROW_PX),
        table=figure_table(spec),
        plotly=script_json(figure_plotly(spec)) if explore else None,
        links=links,
    )


def script_json(value: object) -> str:
    """JSON that can stand inside a script element: no "<" can end it early."""
    return orjson.dumps(value).decode().replace("<", "\\u003c")
