"""A figure as SVG, drawn at the width it is shown at. Up to 560 px it is the narrow form."""

from server.charts.figure import CurvesPanel, FigureSpec, FlowPanel, KeyEntry, Mark, RowsPanel
from server.charts.palette import document_style
from server.charts.shapes import (
    circle,
    cross_d,
    diamond_d,
    ellipsis,
    escape,
    horizontal,
    marker_d,
    path,
    px,
    rectangle,
    text,
    text_width,
    vertical,
    wrapped,
)
from server.charts.svg_curves import draw_curves
from server.charts.svg_flow import draw_flow
from server.charts.svg_rows import draw_rows

WIDE = 1040
MIDDLE = 680
NARROW = 358
NARROW_UP_TO = 560


def figure_svg(spec: FigureSpec, width: int = WIDE) -> str:
    """Inline SVG whose colours come from the page's custom properties."""
    return _svg(spec, width, style="")


def figure_svg_document(spec: FigureSpec, width: int = WIDE) -> str:
    """A picture for a file of its own, its colours inside, light and dark."""
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n'
        + _svg(spec, width, style=f"<style>{document_style()}</style>")
        + "\n"
    )


def _svg(spec: FigureSpec, width: int, style: str) -> str:
    is_narrow = width <= NARROW_UP_TO
    parts: list[str] = []
    y = _draw_key(parts, spec.key, width)
    if spec.empty is not None:
        for line in wrapped(spec.empty, width):
            y += 20
            parts.append(text(0, y, line, "q"))
        y += 12
    curves = [p for p in spec.panels if isinstance(p, CurvesPanel)]
    for panel in spec.panels:
        if isinstance(panel, RowsPanel):
            y = draw_rows(parts, panel, width=width, top=y, is_narrow=is_narrow)
        elif isinstance(panel, FlowPanel):
            y = draw_flow(parts, panel, width=width, top=y, is_narrow=is_narrow)
    if curves:
        y = draw_curves(parts, curves, width=width, top=y, is_narrow=is_narrow)
    has_links = any(
        row.href for panel in spec.panels if isinstance(panel, RowsPanel) for row in panel.rows
    )
    # Links inside role="img" are hidden from assistive technology; a group keeps them.
    role = "group" if has_links else "img"
    linked = ' xmlns:xlink="http://www.w3.org/1999/xlink"' if has_links else ""
    key = f"{spec.id}-{width}"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg"{linked} class="chart" width="{width}" '
        f'height="{px(y)}" viewBox="0 0 {width} {px(y)}" role="{role}" '
        f'aria-labelledby="{escape(key)}-t {escape(key)}-d">'
        f'<title id="{escape(key)}-t">{escape(spec.title)}</title>'
        f'<desc id="{escape(key)}-d">{escape(spec.sentence)}</desc>{style}{"".join(parts)}</svg>'
    )


def _draw_key(parts: list[str], key: tuple[KeyEntry, ...], width: int) -> float:
    """What the marks mean, wrapped to the width; returns where the picture goes on."""
    if not key:
        return 0.0
    x, y = 0.0, 14.0
    for entry in key:
        mark_width = 26.0 if entry.mark in _LONG else 16.0
        words = ellipsis(entry.text, width - mark_width)
        needed = mark_width + text_width(words)
        if x > 0 and x + needed > width:
            x, y = 0.0, y + 22.0
        parts.append(f'<g class="c-{entry.role}">{_key_mark(entry, x, y - 4.5)}</g>')
        parts.append(text(x + mark_width, y, words, "k"))
        x += needed + 14.0
    return y + 12.0


_LONG = frozenset({Mark.RANGE, Mark.INTERVAL, Mark.LINE, Mark.BAND, Mark.BEYOND, Mark.AT_LEAST})


def _key_mark(entry: KeyEntry, x: float, y: float) -> str:
    middle = x + 6
    match entry.mark:
        case Mark.SHAFT:
            return circle(middle, y, 4.5, "f")
        case Mark.WALL:
            return path(diamond_d(middle, y, 5.5), "o")
        case Mark.PRINTED:
            return path(vertical(middle, y - 7, y + 7), "st")
        case Mark.LIMIT:
            return path(
                vertical(middle - 2, y - 7, y + 7) + vertical(middle + 2, y - 7, y + 7), "hr"
            )
        case Mark.RANGE:
            return rectangle(x, y - 3, 20, 6, "rg")
        case Mark.INTERVAL:
            caps = vertical(x, y - 4, y + 4) + vertical(x + 20, y - 4, y + 4)
            return path(horizontal(x, x + 20, y) + caps, "hr")
        case Mark.POINT:
            return path(cross_d(middle, y), "hr")
        case Mark.AT_LEAST:
            return path(f"M{px(x)} {px(y)}h18m-6 -4l6 4l-6 4", "hr")
        case Mark.LINE:
            return path(horizontal(x, x + 20, y), "l")
        case Mark.BAND:
            return rectangle(x, y - 5, 20, 10, "bd")
        case Mark.BEYOND:
            return path(horizontal(x, x + 20, y), "d")
        case Mark.SERIES:
            return path(marker_d(entry.marker, middle, y), "f")
