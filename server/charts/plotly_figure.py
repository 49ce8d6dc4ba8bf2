"""A figure as a plotly dict of plain lists. Colours are left to the page's script.

Every trace has `meta.role` ("measured", "wall", "printed", "limit", "loss", "series-1" …) and
`meta.part` ("line", "band", "marks", "interval"); every shape and annotation has its role in
`name`. The script sets the colours of the roles from the page's custom properties.
"""

from typing import Any

from server.charts.figure import (
    Axis,
    CurvesPanel,
    FigureSpec,
    FlowPanel,
    Line,
    Mark,
    Points,
    RowMark,
    RowsPanel,
)

Dict = dict[str, Any]

_SYMBOLS = {
    "cross": "x-thin-open",
    "circle": "circle",
    "square": "square",
    "triangle": "triangle-up",
    "pentagon": "pentagon",
    "wedge": "triangle-down",
    "star": "star",
}
_ROW_SYMBOLS = {
    Mark.SHAFT: ("measured", "circle", 10, "at the shaft"),
    Mark.WALL: ("wall", "diamond-open", 11, "drawn from the wall"),
    Mark.PRINTED: ("printed", "line-ns-open", 18, "printed"),
}
ROW_HEIGHT = 34
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
        "hoverlabel": {"align": "left"},
        "showlegend": False,
        "dragmode": "zoom",
        "shapes": [],
        "annotations": [],
        "meta": {"id": spec.id, "title": spec.title, "sentence": spec.sentence},
    }
    if rows:
        _rows(data, layout, rows[0])
    elif curves:
        _curves(data, layout, curves)
    elif flows:
        _flow(data, layout, flows[0])
    return {"data": data, "layout": layout}


def _axis(axis: Axis) -> Dict:
    title = f"{axis.label}, {axis.unit}" if axis.unit else axis.label
    return {
        "title": {"text": title, "font": {"size": 12}},
        "range": [axis.low, axis.high],
        "separatethousands": True,
        "zeroline": False,
        "automargin": True,
        "tickfont": {"size": 12},
        "fixedrange": False,
    }


def _rows(data: list[Dict], layout: Dict, panel: RowsPanel) -> None:
    layout["height"] = 90 + ROW_HEIGHT * len(panel.rows)
    layout["xaxis"] = _axis(panel.axis)
    layout["yaxis"] = {
        "tickvals": list(range(len(panel.rows))),
        "ticktext": [row.label for row in panel.rows],
        "range": [len(panel.rows) - 0.5, -0.5],
        "automargin": True,
        "fixedrange": True,
        "zeroline": False,
        "tickfont": {"size": 13},
    }
    by_mark: dict[Mark, list[tuple[int, RowMark, str, str]]] = {}
    for i, row in enumerate(panel.rows):
        for mark in row.marks:
            by_mark.setdefault(mark.mark, []).append((i, mark, row.label, row.value))
    ranges = by_mark.pop(Mark.RANGE, [])
    if ranges:
        data.append(_range_trace(ranges))
    for kind, placed in by_mark.items():
        data.append(_marks_trace(kind, placed))
    for rule in panel.rules:
        role = rule.mark.value
        layout["shapes"].append(
            {
                "type": "line",
                "x0": rule.value,
                "x1": rule.value,
                "yref": "paper",
                "y0": 0,
                "y1": 1,
                "name": role,
                "line": {"width": 2 if rule.mark is Mark.PRINTED else 4},
            }
        )
        layout["annotations"].append(
            _note(rule.label, x=rule.value, y=1, role=role, yref="paper", yanchor="bottom")
        )


def _note(words: str, *, x: float, y: float, role: str, **rest: Any) -> Dict:
    return {"text": words, "x": x, "y": y, "name": role, "showarrow": False, **rest}


def _range_trace(placed: list[tuple[int, RowMark, str, str]]) -> Dict:
    x: list[float | None] = []
    y: list[float | None] = []
    for i, mark, _, _ in placed:
        x += [mark.value, mark.high, None]
        y += [i, i, None]
    return {
        "type": "scatter",
        "mode": "lines",
        "name": "up to the highest steady",
        "x": x,
        "y": y,
        "line": {"width": 7},
        "opacity": 0.45,
        "hoverinfo": "skip",
        "meta": {"role": "measured", "part": "range"},
    }


def _marks_trace(mark: Mark, placed: list[tuple[int, RowMark, str, str]]) -> Dict:
    role, symbol, size, name = _ROW_SYMBOLS[mark]
    trace: Dict = {
        "type": "scatter",
        "mode": "markers",
        "name": name,
        "x": [m.value for _, m, _, _ in placed],
        "y": [i for i, _, _, _ in placed],
        "text": [f"{label}: {value}" if value else label for _, _, label, value in placed],
        "hovertemplate": "%{text}<extra>" + name + "</extra>",
        "marker": {"symbol": symbol, "size": size, "line": {"width": 2}},
        "meta": {"role": role, "part": "marks"},
    }
    if any(m.high is not None for _, m, _, _ in placed):
        highs = [0.0 if m.high is None else m.high - m.value for _, m, _, _ in placed]
        lows = [0.0 if m.low is None else m.value - m.low for _, m, _, _ in placed]
        trace["error_x"] = {
            "type": "data",
            "symmetric": False,
            "array": highs,
            "arrayminus": lows,
            "thickness": 1.25,
            "width": 4,
        }
    return trace


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
        layout[f"xaxis{n}"] = _axis(panel.x)
        layout[f"yaxis{n}"] = _axis(panel.y)
        if is_trace and i > 0:
            layout[f"xaxis{n}"]["matches"] = "x"
        for span in panel.spans if i == 0 else ():
            if span.is_steady:
                layout["shapes"].append(_span_shape(span.low, span.high))
        on = {"xaxis": f"x{n}", "yaxis": f"y{n}"}
        for line in panel.lines:
            data += [trace | on for trace in _line_traces(line, panel)]
        data += [_points_trace(points, panel) | on for points in panel.points]


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
        f"{panel.x.label} %{{x:.4~g}} {panel.x.unit}<br>{panel.y.label} %{{y:.4~g}} {panel.y.unit}"
        f"<extra>{name}</extra>"
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


def _flow(data: list[Dict], layout: Dict, panel: FlowPanel) -> None:
    """Streams as bars on one line: the basic bundle has no flow trace."""
    layout["height"] = 160
    layout["barmode"] = "stack"
    layout["xaxis"] = _axis(Axis("power", "W", 0.0, panel.source.value))
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
                "meta": {"role": part.role, "part": "bar"},
            }
        )
