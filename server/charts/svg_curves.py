"""Small multiples, drawn: curves over a common kind of axis, each in its own frame."""

from collections.abc import Iterator
from itertools import groupby

from server.charts.figure import CurvesPanel, Line, Named, Points, Span
from server.charts.scale import Scale, tick_texts, ticks
from server.charts.shapes import (
    circle,
    cross_d,
    horizontal,
    marker_d,
    path,
    polygon_d,
    polyline_d,
    px,
    rectangle,
    text,
    text_width,
    thinned,
    vertical,
)

HEIGHT_WIDE = 250.0
HEIGHT_NARROW = 220.0
HEIGHT_TRACE = 168.0
GAP = 32.0
X_LABEL = 17.0
GUTTER = 52.0
MANY = 60  # points of one kind in a panel


def draw_curves(
    parts: list[str], panels: list[CurvesPanel], *, width: int, top: float, is_narrow: bool
) -> float:
    """Draws the panels in one or two columns; returns the y below them."""
    if any(panel.spans for panel in panels):
        return _draw_stack(parts, panels, width=width, top=top)
    n_columns = 1 if is_narrow or len(panels) == 1 else 2
    cell = (width - GAP * (n_columns - 1)) / n_columns
    height = HEIGHT_NARROW if is_narrow else HEIGHT_WIDE
    for i, panel in enumerate(panels):
        left = (i % n_columns) * (cell + GAP)
        y = top + (i // n_columns) * (height + 12.0)
        _draw_panel(parts, panel, left=left, top=y, width=cell, height=height)
    n_rows = -(-len(panels) // n_columns)
    return top + n_rows * (height + 12.0)


def _draw_stack(parts: list[str], panels: list[CurvesPanel], *, width: float, top: float) -> float:
    """Panels over one common x axis, named beneath the last."""
    for panel in panels:
        is_last = panel is panels[-1]
        height = HEIGHT_TRACE if is_last else HEIGHT_TRACE - X_LABEL
        _draw_panel(parts, panel, left=0, top=top, width=width, height=height, has_label=is_last)
        top += height + 6.0
    return top


def _draw_panel(
    parts: list[str],
    panel: CurvesPanel,
    *,
    left: float,
    top: float,
    width: float,
    height: float,
    has_label: bool = True,
) -> None:
    x = Scale(panel.x.low, panel.x.high, left + GUTTER, left + width - 8.0)
    foot = 40.0 if has_label else 40.0 - X_LABEL
    y = Scale(panel.y.low, panel.y.high, top + height - foot, top + 30.0)
    if panel.spans:
        parts.append(_spans(panel.spans, x, y))
    parts.append(_frame(panel, x, y, left=left, top=top))
    if has_label:
        below = f"{panel.x.label}, {panel.x.unit}" if panel.x.unit else panel.x.label
        parts.append(text(x.end, y.start + 34, below, "s e"))
    for line in panel.lines:
        parts.append(f'<g class="c-{line.role}">{_band(line, x, y)}{_line(line, x, y)}</g>')
    for points in panel.points:
        parts.append(f'<g class="c-{points.role}">{_points(points, x, y)}</g>')
    if panel.named:
        parts.append(f'<g class="c-measured">{_named(panel.named, x, y)}</g>')


def _frame(panel: CurvesPanel, x: Scale, y: Scale, *, left: float, top: float) -> str:
    title = f"{panel.y.label}, {panel.y.unit}" if panel.y.unit else panel.y.label
    y_values = ticks(panel.y.low, panel.y.high, max(2, int((y.start - y.end) / 34)))
    x_values = ticks(panel.x.low, panel.x.high, max(2, int((x.end - x.start) / 76)))
    base = y.at(0.0) if panel.y.low <= 0 <= panel.y.high else y.start
    drawn = [
        text(left, top + 12, title, "s"),
        path("".join(horizontal(x.start, x.end, y.at(v)) for v in y_values), "gr"),
        path(horizontal(x.start, x.end, base), "ax"),
    ]
    for value, written in zip(y_values, tick_texts(y_values), strict=True):
        drawn.append(text(x.start - 6, y.at(value) + 4, written, "s n e"))
    for value, written in zip(x_values, tick_texts(x_values), strict=True):
        at = min(x.at(value), x.end + 8 - text_width(written, 12) / 2)
        drawn.append(text(at, y.start + 17, written, "s n m"))
    return "".join(drawn)


def _spans(spans: tuple[Span, ...], x: Scale, y: Scale) -> str:
    """Stretches: steady ones shaded, each named where its name fits; equal neighbours that are
    too short for theirs are named together ("steady × 12")."""
    shaded = "".join(
        rectangle(x.at(s.low), y.end, x.at(s.high) - x.at(s.low), y.start - y.end, "sp")
        for s in spans
        if s.is_steady
    )
    edges = path("".join(vertical(x.at(s.low), y.end - 8, y.start) for s in spans), "gr")
    return shaded + edges + "".join(_span_names(spans, x, y.end - 3))


def _span_names(spans: tuple[Span, ...], x: Scale, y: float) -> Iterator[str]:
    for label, group in groupby(spans, key=lambda s: s.label):
        together = list(group)
        if not label:
            continue
        needed = text_width(label, 12) + 6
        if all(x.at(s.high) - x.at(s.low) >= needed for s in together):
            for span in together:
                yield text(x.at(span.low) + 4, y, label, "s")
            continue
        words = f"{label} × {len(together)}" if len(together) > 1 else label
        if x.at(together[-1].high) - x.at(together[0].low) >= text_width(words, 12) + 6:
            yield text(x.at(together[0].low) + 4, y, words, "s")


def _clamped(value: float, y: Scale) -> float:
    """What leaves the frame is drawn at its edge."""
    return max(y.end, min(y.start, y.at(value)))


def _band(line: Line, x: Scale, y: Scale) -> str:
    """The 95 % band; left out where it is thinner than the line itself."""
    if not line.half_width or max(line.half_width) * abs(y.factor) < 0.75:
        return ""
    whole = [
        (x.at(a), y.at(b), h * -y.factor)
        for a, b, h in zip(line.x, line.y, line.half_width, strict=True)
        if b is not None
    ]
    if len(whole) < 2:
        return ""
    top, bottom = y.end, y.start
    upper = thinned([(a, max(top, min(bottom, b - h))) for a, b, h in whole])
    lower = thinned([(a, max(top, min(bottom, b + h))) for a, b, h in whole])
    return path(polygon_d([*upper, *reversed(lower)]), "bd")


def _line(line: Line, x: Scale, y: Scale) -> str:
    beyond = line.beyond or (False,) * len(line.x)
    solid: list[list[tuple[float, float]]] = [[]]
    dashed: list[list[tuple[float, float]]] = [[]]
    previous: tuple[tuple[float, float], bool] | None = None
    for a, b, is_beyond in zip(line.x, line.y, beyond, strict=True):
        if b is None:
            previous = None
            solid.append([])
            dashed.append([])
            continue
        here = (x.at(a), y.at(b))
        runs = dashed if is_beyond else solid
        if previous is not None and previous[1] != is_beyond:
            runs.append([previous[0]])
        runs[-1].append(here)
        previous = (here, is_beyond)
    drawn = ""
    for runs, classes in ((solid, "l"), (dashed, "d")):
        d = "".join(polyline_d(thinned(run)) for run in runs if len(run) > 1)
        if d:
            drawn += path(d, classes)
    return drawn


def _points(points: Points, x: Scale, y: Scale) -> str:
    # Many are a cloud: half a pixel is not seen in it, and a third of the bytes are saved.
    place = round if len(points.x) > MANY else float
    half_mark = 3.0 if len(points.x) > MANY else 3.5
    bars = ""
    for a, b, half in zip(
        points.x, points.y, points.half_width or (None,) * len(points.x), strict=True
    ):
        if half is not None and half * abs(y.factor) > 5:
            top, bottom = place(_clamped(b + half, y)), place(_clamped(b - half, y))
            bars += f"M{px(place(x.at(a)) - 3)} {px(top)}h6m-3 0V{px(bottom)}m-3 0h6"
    drawn = path(bars, "hr") if bars else ""
    places = [(place(x.at(a)), place(y.at(b))) for a, b in zip(points.x, points.y, strict=True)]
    if points.marker == "cross":
        return drawn + path("".join(cross_d(a, b, half_mark) for a, b in places), "hr")
    return drawn + path("".join(marker_d(points.marker, a, b) for a, b in places), "f")


def _named(named: tuple[Named, ...], x: Scale, y: Scale) -> str:
    """Dots with their names: the highest above its dot, the others where the curve is not."""
    drawn = ""
    highest = max(named, key=lambda n: n.y)
    for point in named:
        at, height = x.at(point.x), y.at(point.y)
        drawn += circle(at, height, 4.5, "f")
        if point is highest:
            half = text_width(point.label, 12) / 2
            middle = min(max(at, x.start + half + 4), x.end - half)
            drawn += text(middle, height - 11, point.label, "s m")
        else:
            start = min(at + 9, x.end + 6 - text_width(point.label, 12))
            below = point.x <= highest.x or start < at + 9
            drawn += text(start, height + 18 if below else height - 7, point.label, "s")
    return drawn
