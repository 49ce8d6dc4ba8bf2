"""A figure as a plotly dict of plain lists. Colours are left to the page's script.

Every trace has `meta.role` ("measured", "wall", "printed", "limit", "loss", "series-1" …) and
`meta.part` ("line", "band", "marks", "interval"); every shape and annotation has its role in
`name`. The script sets the colours of the roles from the page's custom properties.
"""

from server.charts.figure import (
    Axis,
    CurvesPanel,
    FigureSpec,
    FlowPanel,
    Line,
    Points,
    RowsPanel,
)
from server.charts.plotly_rows import Dict, plotly_axis, rows_into
from server.wording.numbers import THIN_SPACE

_SYMBOLS = {
    "cross": "x-thin-open",
    "circle": "circle",
    "square": "square",
    "triangle": "triangle-up",
    "pentagon": "pentagon",
    "wedge": "triangle-down",
    "star": "star",
}
PANEL_HEIGHT = 300


def figure_plotly(spec: FigureSpec) -> Dict:
    """{"data": [...], "layout": {...}} for the basic bundle: scatter traces only."""
    rows = [p for p in spec.panels if isinstance(p, RowsPanel)]
    curves = [p for p in spec.panels if isinstance(p, CurvesPanel)]
    flows = [p for p in spec.panels if isinstance(p, FlowPanel)]
    data: list[Dict] = []
    layout: Dict = {
        "title": {"text": ""},
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "margin": {"l": 8, "r": 16, "t": 32, "b": 44},
        "font": {"size": 13},
        "separators": f".{THIN_SPACE}",
        "hoverlabel": {"align": "left"},
        "showlegend": False,
        "dragmode": "zoom",
        "shapes": [],
        "annotations": [],
        "meta": {"id": spec.id, "title": spec.title, "sentence": spec.sentence},
    }
    if rows:
        rows_into(data, layout, rows[0])
    elif curves:
        _curves(data, layout, curves)
    elif flows:
        _flow(data, layout, flows[0])
    return {"data": data, "layout": layout}


def _curves(data: list[Dict], layout: Dict, panels: list[CurvesPanel]) -> None:
    is_trace = any(panel.spans for panel in panels)
    n_columns = 1 if is_trace or len(panels) == 1 else 2
    n_rows = -(-len(panels) // n_columns)
    layout["height"] = 60 + n_rows * (180 if is_trace else PANEL_HEIGHT)
    layout["grid"] = {
        "rows": n_rows,
        "columns": n_columns,
        "pattern": "independent",
        "xgap": 0.12,
        "ygap": 0.3,
    }
    layout["margin"] = {"l": 56, "r": 16, "t": 32, "b": 44}
    for i, panel in enumerate(panels):
        n = "" if i == 0 else str(i + 1)
        layout[f"xaxis{n}"] = plotly_axis(panel.x)
        layout[f"yaxis{n}"] = plotly_axis(panel.y)
        if is_trace and i > 0:
            layout[f"xaxis{n}"]["matches"] = "x"
        for span in panel.spans if i == 0 else ():
            if span.is_steady:
                layout["shapes"].append(_span_shape(span.low, span.high))
        on = {"xaxis": f"x{n}", "yaxis": f"y{n}"}
        for line in panel.lines:
            data += [trace | on for trace in _line_traces(line, panel)]
        data += [_points_trace(points, panel) | on for points in panel.points]
        if panel.named:
            data.append(_named_trace(panel) | on)


def _span_shape(low: float, high: float) -> Dict:
    return {
        "type": "rect",
        "xref": "x",
        "yref": "paper",
        "x0": low,
        "x1": high,
        "y0": 0,
        "y1": 1,
        "layer": "below",
        "name": "steady",
        "line": {"width": 0},
        "opacity": 0.5,
    }


def _hover(panel: CurvesPanel, name: str) -> str:
    return (
        f"{panel.x.label} %{{x:,.4~r}} {panel.x.unit}<br>"
        f"{panel.y.label} %{{y:,.4~r}} {panel.y.unit}<extra>{name}</extra>"
    )


def _line_traces(line: Line, panel: CurvesPanel) -> list[Dict]:
    traces: list[Dict] = []
    if line.half_width:
        both = [
            (a, b, h)
            for a, b, h in zip(line.x, line.y, line.half_width, strict=True)
            if b is not None
        ]
        xs = [a for a, _, _ in both]
        traces.append(
            {
                "type": "scatter",
                "mode": "lines",
                "name": f"{line.name}, 95 %",
                "x": xs + xs[::-1],
                "y": [b + h for _, b, h in both] + [b - h for _, b, h in both][::-1],
                "fill": "toself",
                "line": {"width": 0},
                "hoverinfo": "skip",
                "opacity": 0.25,
                "meta": {"role": line.role, "part": "band"},
            }
        )
    for is_beyond in (False, True):
        y = [
            b if (bool(line.beyond) and line.beyond[i]) is is_beyond else None
            for i, b in enumerate(line.y)
        ]
        if any(value is not None for value in y):
            traces.append(
                {
                    "type": "scatter",
                    "mode": "lines",
                    "name": line.name,
                    "x": list(line.x),
                    "y": y,
                    "connectgaps": False,
                    "line": {"width": 2, "dash": "dash" if is_beyond else "solid"},
                    "hovertemplate": _hover(panel, line.name),
                    "meta": {"role": line.role, "part": "beyond" if is_beyond else "line"},
                }
            )
    return traces


def _points_trace(points: Points, panel: CurvesPanel) -> Dict:
    trace: Dict = {
        "type": "scatter",
        "mode": "markers",
        "name": points.name,
        "x": list(points.x),
        "y": list(points.y),
        "hovertemplate": _hover(panel, points.name),
        "marker": {"symbol": _SYMBOLS[points.marker], "size": 9, "line": {"width": 1.5}},
        "meta": {"role": points.role, "part": "marks"},
    }
    if any(half is not None for half in points.half_width):
        trace["error_y"] = {
            "type": "data",
            "array": [half or 0.0 for half in points.half_width],
            "thickness": 1.25,
            "width": 4,
        }
    return trace


def _beside(x: float, is_highest: bool, x_highest: float) -> str:
    """Where a name does not lie on the curve: above its top, below its rise, above its fall."""
    if is_highest:
        return "top center"
    return "bottom right" if x <= x_highest else "top right"


def _named_trace(panel: CurvesPanel) -> Dict:
    highest = max(panel.named, key=lambda n: n.y)
    return {
        "type": "scatter",
        "mode": "markers+text",
        "name": "headline figures",
        "x": [n.x for n in panel.named],
        "y": [n.y for n in panel.named],
        "text": [n.label for n in panel.named],
        "textposition": [_beside(n.x, n is highest, highest.x) for n in panel.named],
        "textfont": {"size": 12},
        "cliponaxis": False,
        "hovertemplate": "%{text}: %{y:,.4~r} " + panel.y.unit + "<extra></extra>",
        "marker": {"symbol": "circle", "size": 9},
        "meta": {"role": "measured", "part": "named"},
    }


def _flow(data: list[Dict], layout: Dict, panel: FlowPanel) -> None:
    """Streams as bars on one line: the basic bundle has no flow trace."""
    layout["height"] = 160
    layout["barmode"] = "stack"
    layout["xaxis"] = plotly_axis(Axis("power", "W", 0.0, panel.source.value))
    layout["yaxis"] = {"visible": False, "fixedrange": True}
    for part in panel.parts:
        data.append(
            {
                "type": "bar",
                "orientation": "h",
                "name": part.label,
                "x": [part.value],
                "y": [0],
                "text": [f"{part.label} {part.text}"],
                "hovertemplate": "%{text}<extra></extra>",
                "opacity": 0.55,
                "meta": {"role": part.role, "part": "bar"},
            }
        )
