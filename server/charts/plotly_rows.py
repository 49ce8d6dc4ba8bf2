"""Rows on one axis as plotly scatter traces."""

from typing import Any

from server.charts.figure import Axis, Mark, RowMark, RowsPanel

Dict = dict[str, Any]

_ROW_SYMBOLS = {
    Mark.SHAFT: ("measured", "circle", 10, "at the shaft"),
    Mark.WALL: ("wall", "diamond-open", 11, "drawn from the wall"),
    Mark.PRINTED: ("printed", "line-ns-open", 18, "printed"),
}
ROW_HEIGHT = 34


def plotly_axis(axis: Axis) -> Dict:
    title = f"{axis.label}, {axis.unit}" if axis.unit else axis.label
    return {
        "title": {"text": title, "font": {"size": 12}},
        "range": [axis.low, axis.high],
        "tickformat": ",~g",
        "zeroline": False,
        "automargin": True,
        "tickfont": {"size": 12},
        "fixedrange": False,
    }


def rows_into(data: list[Dict], layout: Dict, panel: RowsPanel) -> None:
    layout["height"] = 90 + ROW_HEIGHT * len(panel.rows)
    layout["xaxis"] = plotly_axis(panel.axis)
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
