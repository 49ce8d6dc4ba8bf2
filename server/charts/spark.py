"""A column of a log as a small line beside its header: no axes, its range in words."""

from collections.abc import Sequence

from server.charts.shapes import escape, px

WIDTH = 120.0
HEIGHT = 28.0
_EDGE = 2.0
_MOST_POINTS = 240


def spark_svg(values: Sequence[float | None], *, name: str) -> str | None:
    """An SVG of the values in their order, broken where one is missing; None for fewer than two.

    `name`: what they are, for those who don't see the line.
    """
    thinned = values[:: max(1, -(-len(values) // _MOST_POINTS))]
    known = [v for v in thinned if v is not None]
    if len(known) < 2:
        return None
    low, high = min(known), max(known)
    told = f"{name}, {len(values)} rows of the file: from {low:.4g} to {high:.4g}"
    return (
        f'<svg class="chart spark" viewBox="0 0 {WIDTH:g} {HEIGHT:g}" role="img" '
        f'aria-label="{escape(told)}"><path class="l c-measured" d="{_path(thinned, low, high)}"/>'
        "</svg>"
    )


def _path(values: Sequence[float | None], low: float, high: float) -> str:
    step = (WIDTH - 2 * _EDGE) / max(len(values) - 1, 1)
    room = HEIGHT - 2 * _EDGE
    parts = []
    pen = "M"
    for i, value in enumerate(values):
        if value is None:
            pen = "M"
            continue
        share = (value - low) / (high - low) if high > low else 0.5
        parts.append(f"{pen}{px(_EDGE + i * step)} {px(_EDGE + (1 - share) * room)}")
        pen = "L"
    return "".join(parts)
